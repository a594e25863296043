//! Published worked examples, run through the code that the pages use.
//!
//! Cases live in `tests/examples/*.toml`, and in every `*.toml` of the directory named by the
//! environment variable `GLEBE_EXAMPLES`, read the same way. A file holds
//!
//! ```toml
//! [sources.psu]                        # named citations, so that each is written once
//! publisher = "Penn State ..."         # publisher, title, year, address, evidence
//! title = "Home garden report comments"
//! evidence = "read"                    # read, quoted, derived, common_practice, memory
//!
//! [[case]]
//! id = "W03"                           # unique over all files
//! kind = "lime_for_value"              # which function: see `examples/kinds.rs`; an unknown kind fails
//! note = "free text"                   # optional
//! inputs = { rate = 5, value = 70 }    # what the kind asks for; a field it does not know fails
//! expect = { value = 7, unit = "lb_per_100_ft2", decimals = 0 }
//! source = "psu"                       # a name above, or a whole citation: [case.source]
//! ```
//!
//! `expect` is one table or several. In each: `of` picks one of several answers (a symbol, or
//! the input it belongs to); then either `value` with `decimals` (the answer rounded as the
//! publisher prints it) or with `tolerance`, or `text` (a class, in the publisher's words).
//! `unit` is the unit that the answer is shown in.
//!
//! Publishers slip. `slip = { printed = 13.7, decimals = 1, how = "truncated" }` keeps a printed
//! figure that was cut off instead of rounded, or `how = "wrong"`: then `expect` holds the right
//! answer, and the slip is checked to be one. `negative = true` marks a wrong published answer,
//! printed in `expect`, that must not come out; `correct`, written like `expect`, says what must.
//!
//! A failure prints the case, what came out, what was expected, and who published it.

mod kinds;

use glebe::agronomy::source::{Citation, Evidence};
use serde::Deserialize;
use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    sources: BTreeMap<String, Citation>,
    #[serde(default)]
    case: Vec<Case>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    id: String,
    kind: String,
    #[serde(default)]
    note: String,
    inputs: toml::Table,
    expect: OneOrMany,
    #[serde(default)]
    negative: bool,
    correct: Option<OneOrMany>,
    slip: Option<Slip>,
    source: Cited,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum OneOrMany {
    One(Expect),
    Many(Vec<Expect>),
}

impl OneOrMany {
    fn all(&self) -> &[Expect] {
        match self {
            OneOrMany::One(expect) => std::slice::from_ref(expect),
            OneOrMany::Many(all) => all,
        }
    }
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Cited {
    Named(String),
    Whole(Citation),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expect {
    #[serde(default)]
    of: String,
    value: Option<f64>,
    unit: Option<String>,
    decimals: Option<i32>,
    tolerance: Option<f64>,
    text: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Slip {
    printed: f64,
    decimals: i32,
    how: How,
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum How {
    Truncated,
    Wrong,
}

/// Half a unit of the last printed decimal, with room for the last bits of a float.
fn half_of_last(decimals: i32) -> f64 {
    0.5 * 10f64.powi(-decimals) + 1e-9
}

impl Expect {
    /// What came out, as shown; `Err` with the same when it is not what is expected.
    fn hold(&self, answers: &kinds::Answers) -> Result<String, String> {
        let answer = match answers.get(&self.of) {
            Some(answer) => answer,
            None => {
                let names: Vec<_> = answers.keys().map(|k| format!("“{k}”")).collect();
                return Err(format!("no answer named “{}”, only {}", self.of, names.join(", ")));
            }
        };
        if let Some(text) = &self.text {
            let got = answer.text().ok_or("a number, where a text is expected")?;
            return if got == text { Ok(got.into()) } else { Err(got.into()) };
        }
        let expected = self.value.ok_or("expect gives neither value nor text")?;
        let got = answer.number(self.unit.as_deref())?;
        let within = match (self.decimals, self.tolerance) {
            (Some(decimals), None) => half_of_last(decimals),
            (None, Some(tolerance)) => tolerance,
            _ => return Err("expect needs either decimals or tolerance beside its value".into()),
        };
        let shown = format!("{got:.6} {}", self.unit.as_deref().unwrap_or(""));
        if (got - expected).abs() <= within { Ok(shown) } else { Err(shown) }
    }

    fn words(&self) -> String {
        let what = match (&self.text, self.value) {
            (Some(text), _) => format!("“{text}”"),
            (None, Some(value)) => format!("{value} {}", self.unit.as_deref().unwrap_or("")),
            (None, None) => "nothing".into(),
        };
        if self.of.is_empty() { what } else { format!("{}: {what}", self.of) }
    }
}

impl Slip {
    /// The printed figure really is the slip that it is said to be.
    fn check(&self, got: f64) -> Result<(), String> {
        let scale = 10f64.powi(self.decimals);
        let differs = (got - self.printed).abs() > half_of_last(self.decimals);
        match self.how {
            How::Truncated if ((got * scale + 1e-9).floor() / scale - self.printed).abs() > 1e-9 => {
                Err(format!("{got} cut off is not {}", self.printed))
            }
            How::Wrong if !differs => Err(format!("{} is right, so it is no slip", self.printed)),
            _ => Ok(()),
        }
    }
}

/// Runs one case; `Err` is the whole message about its failure.
fn run(case: &Case, citation: &Citation) -> Result<(), String> {
    let fail = |got: &str, expected: &str| {
        let note = if case.note.is_empty() { String::new() } else { format!("\n  note      {}", case.note) };
        Err(format!(
            "{} ({})\n  got       {got}\n  expected  {expected}\n  source    {citation}{note}",
            case.id, case.kind
        ))
    };
    if citation.title.is_empty() || (citation.publisher.is_empty() && citation.evidence != Evidence::CommonPractice) {
        return fail("a case without a source", "publisher and title");
    }
    let answers = match kinds::run(&case.kind, &case.inputs) {
        Ok(answers) => answers,
        Err(problem) => return fail(&problem, "an answer"),
    };
    let must: &[Expect] = match (case.negative, &case.correct) {
        (false, None) => case.expect.all(),
        (false, Some(_)) => return fail("`correct` in a case that is not negative", "one of the two"),
        (true, correct) => {
            for wrong in case.expect.all() {
                match wrong.hold(&answers) {
                    Ok(got) => return fail(&got, &format!("anything but {}", wrong.words())),
                    Err(_) if wrong.text.is_none() && wrong.value.is_none() => {
                        return fail("nothing to avoid", "a wrong answer");
                    }
                    // An answer that is missing or in another unit has not been compared.
                    Err(got) if !answers.contains_key(&wrong.of) => return fail(&got, &wrong.words()),
                    Err(_) => {}
                }
            }
            correct.as_ref().map_or(&[], OneOrMany::all)
        }
    };
    for expect in must {
        if let Err(got) = expect.hold(&answers) {
            return fail(&got, &expect.words());
        }
    }
    if let Some(slip) = &case.slip {
        let first = &case.expect.all()[0];
        let got = answers.get(&first.of).ok_or("").and_then(|a| a.number(first.unit.as_deref()).map_err(|_| ""));
        if let Err(problem) = slip.check(got.unwrap_or(f64::NAN)) {
            return fail(&problem, "a slip of the publisher’s");
        }
    }
    Ok(())
}

/// Runs every case of these texts: how many ran, the kinds they used, and what failed.
fn run_texts(texts: &[(String, String)]) -> (usize, BTreeSet<String>, Vec<String>) {
    let (mut ran, mut used, mut seen, mut failures) = (0, BTreeSet::new(), BTreeSet::new(), Vec::new());
    for (name, text) in texts {
        let file: File = match toml::from_str(text) {
            Ok(file) => file,
            Err(problem) => {
                failures.push(format!("{name}: {problem}"));
                continue;
            }
        };
        for case in &file.case {
            ran += 1;
            used.insert(case.kind.clone());
            if !seen.insert(case.id.clone()) {
                failures.push(format!("{name}: {} is there twice", case.id));
            }
            let citation = match &case.source {
                Cited::Whole(citation) => Some(citation),
                Cited::Named(key) => file.sources.get(key),
            };
            let outcome = match citation {
                Some(citation) => run(case, citation),
                None => Err(format!("{}: its source is not in [sources]", case.id)),
            };
            failures.extend(outcome.err().map(|message| format!("{name}: {message}")));
        }
    }
    (ran, used, failures)
}

fn texts_in(dir: &Path) -> Vec<(String, String)> {
    let entries = fs::read_dir(dir).unwrap_or_else(|e| panic!("{}: {e}", dir.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|e| e == "toml"));
    paths.sort();
    paths.into_iter().map(|p| (p.display().to_string(), fs::read_to_string(&p).unwrap())).collect()
}

#[test]
fn published_examples_come_out_as_printed() {
    let (ran, used, failures) = run_texts(&texts_in(&Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/examples")));
    assert!(failures.is_empty(), "{} of {ran} failed\n\n{}", failures.len(), failures.join("\n\n"));
    assert!(ran >= 800, "only {ran} cases");
    let idle: Vec<_> = kinds::all().map(|(name, _)| *name).filter(|name| !used.contains(*name)).collect();
    assert!(idle.is_empty(), "kinds that no case uses: {idle:?}");
    println!("{ran} published examples of {} kinds", used.len());
}

#[test]
fn examples_kept_elsewhere_come_out_too() {
    let Some(dir) = std::env::var_os("GLEBE_EXAMPLES") else {
        println!("GLEBE_EXAMPLES is not set: no examples from elsewhere");
        return;
    };
    let (ran, _, failures) = run_texts(&texts_in(Path::new(&dir)));
    assert!(failures.is_empty(), "{} of {ran} failed\n\n{}", failures.len(), failures.join("\n\n"));
    assert!(ran > 0, "no case in {}", dir.display());
}

#[test]
fn the_runner_fails_what_it_must() {
    let case = |kind: &str, rest: &str| {
        let source = r#"source = { publisher = "nobody", title = "invented to fail", evidence = "derived" }"#;
        let text = format!("[[case]]\nid = \"x\"\nkind = \"{kind}\"\n{rest}\n{source}\n");
        run_texts(&[("here".into(), text)]).2.join("\n")
    };
    let lime = |rest: &str| case("lime_for_value", &format!("inputs = {{ rate = 5, value = 70 }}\n{rest}"));
    assert_eq!(lime("expect = { value = 7.1, decimals = 1 }"), "");
    assert!(case("alchemy", "inputs = {}\nexpect = { value = 1, decimals = 0 }").contains("alchemy"));
    let wrong = lime("expect = { value = 8, decimals = 0 }");
    for part in ["got       7.142857", "expected  8", "nobody, invented to fail", "x (lime_for_value)"] {
        assert!(wrong.contains(part), "{wrong}");
    }
    assert!(lime("expect = { value = 7 }").contains("decimals or tolerance"));
    assert!(lime("negative = true\nexpect = { value = 7, decimals = 0 }").contains("anything but 7"));
    assert!(lime("negative = true\nexpect = { of = \"N\", value = 8, decimals = 0 }").contains("no answer named"));
    assert!(
        lime("expect = { value = 7.143, decimals = 3 }\nslip = { printed = 7.2, decimals = 1, how = \"truncated\" }")
            .contains("cut off")
    );
    assert!(
        lime("expect = { value = 7.143, decimals = 3 }\nslip = { printed = 7.14, decimals = 2, how = \"wrong\" }")
            .contains("no slip")
    );
    assert!(
        case("lime_for_value", "inputs = { rate = 5, valeu = 70 }\nexpect = { value = 7, decimals = 0 }")
            .contains("valeu")
    );
}
