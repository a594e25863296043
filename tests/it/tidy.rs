//! The walls between the layers, kept by reading the source.
//!
//! One crate has no walls of its own, so these tests fail, with the sentence that was
//! broken, on a word or an arrow that does not belong; on a template, a setting or a
//! migration that nobody answers for; and on anything inline that the pages' content
//! policy would refuse.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

/// A row of the layer table: its sentence, the words it never mentions, the layers it never calls.
struct Layer {
    name: &'static str,
    sentence: &'static str,
    words: &'static [&'static str],
    layers: &'static [&'static str],
}

const LAYERS: &[Layer] = &[
    Layer {
        name: "agronomy",
        sentence: "agronomy is the trade: numbers in, numbers and reasons out; pure functions over plain structs; \
                   it never mentions tokio, axum, sqlx, askama, tracing, files, environment, clock, randomness or \
                   hash-map order",
        words: &[
            "tokio",
            "axum",
            "sqlx",
            "askama",
            "tracing",
            "HashMap",
            "HashSet",
            "std::fs",
            "std::env",
            "std::net",
            "std::process",
            "SystemTime",
            "Instant",
            "Timestamp::now",
            "rand",
            "getrandom",
        ],
        layers: &["exchange", "store", "app", "web", "cli", "ids", "clock", "settings"],
    },
    Layer {
        name: "exchange",
        sentence: "exchange turns bytes into values and back; it never mentions axum, sqlx or store",
        words: &["axum", "sqlx", "askama"],
        layers: &["store", "app", "web", "cli"],
    },
    Layer {
        name: "store",
        sentence: "store is SQL and only SQL; it never mentions axum, askama or exchange",
        words: &["axum", "askama"],
        layers: &["exchange", "app", "web", "cli"],
    },
    Layer {
        name: "app",
        sentence: "app is what a person can do: allow, load, compute, save, record; it never mentions axum, askama \
                   or sqlx",
        words: &["axum", "askama", "sqlx"],
        layers: &["web", "cli"],
    },
    Layer {
        name: "web",
        sentence: "web is HTTP in, HTML out; a page is a struct, the whole contract with its template; it never \
                   mentions sqlx or store and does no arithmetic on measurements",
        words: &["sqlx", "libsqlite3_sys"],
        layers: &["store", "cli"],
    },
    Layer {
        name: "cli",
        sentence: "cli is terminal in, text out; it never mentions sqlx",
        words: &["sqlx", "askama"],
        layers: &[],
    },
];

/// Longest file of `src`, in lines: past this a reader loses the thread.
const FILE_LINES_MAX: usize = 700;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file below a folder of the project with this ending, with its text, by relative path.
fn files(folder: &str, ending: &str) -> BTreeMap<String, String> {
    fn walk(dir: &Path, found: &mut Vec<PathBuf>) {
        let Ok(entries) = fs::read_dir(dir) else { return };
        for path in entries.map(|entry| entry.unwrap().path()) {
            if path.is_dir() { walk(&path, found) } else { found.push(path) }
        }
    }
    let mut paths = Vec::new();
    walk(&root().join(folder), &mut paths);
    paths
        .into_iter()
        .filter(|path| path.to_string_lossy().ends_with(ending))
        .map(|path| {
            let name = path.strip_prefix(root()).unwrap().to_string_lossy().into_owned();
            (name, fs::read_to_string(&path).unwrap())
        })
        .collect()
}

/// The program in a source file: no comments, no text in quotes, no unit tests.
fn program(source: &str) -> String {
    let source = source.split("#[cfg(test)]\nmod ").next().unwrap_or_default();
    let mut kept = String::new();
    let mut rest = source.char_indices().peekable();
    while let Some((at, c)) = rest.next() {
        let tail = &source[at..];
        if tail.starts_with("//") {
            while rest.next_if(|(_, c)| *c != '\n').is_some() {}
        } else if let Some(end) = raw_text_end(tail) {
            while rest.next_if(|(here, _)| *here < at + end).is_some() {}
            kept.push_str("\"\"");
        } else if c == '"' {
            kept.push_str("\"\"");
            while let Some((_, c)) = rest.next() {
                match c {
                    '\\' => drop(rest.next()),
                    '"' => break,
                    _ => {}
                }
            }
        } else if tail.starts_with("'\"'") {
            rest.next();
            rest.next();
        } else if tail.starts_with("'\\\"'") {
            rest.next();
            rest.next();
            rest.next();
        } else {
            kept.push(c);
        }
    }
    kept
}

/// Length of a raw string literal that starts here, if one does.
fn raw_text_end(tail: &str) -> Option<usize> {
    let hashes = tail.strip_prefix('r')?.chars().take_while(|c| *c == '#').count();
    let close = format!("\"{}", "#".repeat(hashes));
    let body = tail[1 + hashes..].strip_prefix('"')?;
    Some(1 + hashes + 1 + body.find(&close)? + close.len())
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// Whether `word` (a name or a path) stands in the program as a whole word.
fn mentions(program: &str, word: &str) -> bool {
    program
        .match_indices(word)
        .any(|(at, _)| !program[..at].ends_with(is_word) && !program[at + word.len()..].starts_with(is_word))
}

/// The layers that a program names: `crate::x`, `glebe::x`, and the first names in `use crate::{x, y::z}`.
fn arrows(program: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for start in ["crate::", "glebe::"] {
        for (at, _) in program.match_indices(start) {
            let after = &program[at + start.len()..];
            let Some(group) = after.strip_prefix('{') else {
                found.insert(after.chars().take_while(|c| is_word(*c)).collect());
                continue;
            };
            let (mut depth, mut name, mut first) = (1, String::new(), true);
            for c in group.chars() {
                match c {
                    '{' => depth += 1,
                    '}' => depth -= 1,
                    ',' if depth == 1 => first = true,
                    c if is_word(c) && depth == 1 && first => name.push(c),
                    _ => {}
                }
                if !is_word(c) && !name.is_empty() {
                    found.insert(std::mem::take(&mut name));
                    first = false;
                }
                if depth == 0 {
                    break;
                }
            }
        }
    }
    found
}

/// Fails with all that was found, one a line.
fn assert_none(broken: Vec<String>) {
    assert!(broken.is_empty(), "\n{}\n", broken.join("\n"));
}

#[test]
fn the_reader_of_sources_sees_words_and_arrows() {
    let sample = "use crate::{store::{Db, app}, ids};\n// axum\nlet s = \"sqlx\"; let q = r#\"tokio \"x\" \"#; glebe::web::x();\n\
                  let c = '\"'; HashMapLike::new(); std::fs::read(p);\n#[cfg(test)]\nmod tests { use rand; }";
    let code = program(sample);
    for absent in ["axum", "sqlx", "tokio", "rand", "HashMap"] {
        assert!(!mentions(&code, absent), "{absent} in {code}");
    }
    assert!(mentions(&code, "std::fs"));
    assert_eq!(arrows(&code).into_iter().collect::<Vec<_>>(), ["ids", "store", "web"]);
}

#[test]
fn no_layer_mentions_what_it_must_not() {
    let mut broken = Vec::new();
    for layer in LAYERS {
        let sources = files(&format!("src/{}", layer.name), ".rs");
        assert!(!sources.is_empty(), "src/{} is gone: correct the table of layers", layer.name);
        for (path, source) in sources {
            let code = program(&source);
            for word in layer.words.iter().filter(|word| mentions(&code, word)) {
                broken.push(format!("{path} mentions {word}, but {}.", layer.sentence));
            }
            for arrow in arrows(&code).iter().filter(|arrow| layer.layers.contains(&arrow.as_str())) {
                broken.push(format!(
                    "{path} calls {arrow}, but arrows go main → cli → web → app → {{exchange, store}} → agronomy, \
                     and {}.",
                    layer.sentence
                ));
            }
        }
    }
    assert_none(broken);
}

#[test]
fn files_are_short_and_say_what_they_are() {
    let mut broken = Vec::new();
    for (path, source) in files("src", ".rs") {
        let lines = source.lines().count();
        if lines > FILE_LINES_MAX {
            broken.push(format!("{path} has {lines} lines; {FILE_LINES_MAX} at most"));
        }
        if !source.starts_with("//!") && path != "src/main.rs" {
            broken.push(format!("{path} does not open with a //! paragraph that says what it is"));
        }
    }
    assert_none(broken);
}

#[test]
fn every_route_stands_in_the_one_table() {
    let builders = ["MethodRouter", "axum::routing", ".route(", ".nest(", ".route_service(", ".nest_service("];
    let broken = files("src", ".rs")
        .into_iter()
        .filter(|(path, _)| path != "src/web/routes.rs")
        .flat_map(|(path, source)| {
            let code = program(&source);
            builders
                .iter()
                .filter(|word| code.contains(**word))
                .map(|word| format!("{path} uses {word}: a route stands in web/routes.rs with its access, or nowhere"))
                .collect::<Vec<_>>()
        })
        .collect();
    assert_none(broken);
}

#[test]
fn no_template_is_an_orphan() {
    let templates = files("templates", ".html");
    let sources = files("src", ".rs");
    let mut broken = Vec::new();
    for path in templates.keys() {
        let name = path.strip_prefix("templates/").unwrap();
        let quoted = format!("\"{name}\"");
        let used = sources.values().any(|source| source.contains(&format!("path = {quoted}")))
            || templates.iter().any(|(other, text)| other != path && text.contains(&quoted));
        if !used {
            broken.push(format!("{path} belongs to no page struct and no template includes it"));
        }
    }
    assert_none(broken);
}

#[test]
fn nothing_inline_that_the_content_policy_refuses() {
    let mut broken = Vec::new();
    let mut unescaped = BTreeSet::new();
    for (path, text) in files("templates", "").into_iter().chain(files("src/web", ".rs")) {
        for (number, line) in text.lines().enumerate() {
            let at = format!("{path}:{}", number + 1);
            let plain = line.to_lowercase();
            if plain.contains(" style=") || plain.contains("<style") {
                broken.push(format!("{at} has an inline style; put it in static/glebe.css"));
            }
            if plain.contains("<script") && !plain.contains("<script src=") {
                broken.push(format!("{at} has an inline script; put it in static/glebe.js"));
            }
            if path.ends_with(".html") && has_handler_attribute(&plain) {
                broken.push(format!("{at} has an on… attribute; static/glebe.js listens instead"));
            }
            if path.ends_with(".html") && plain.contains("javascript:") {
                broken.push(format!("{at} has a javascript: address"));
            }
            if plain.contains("|safe") || plain.contains("| safe") {
                unescaped.insert(path.clone());
            }
        }
    }
    if unescaped.len() > 1 {
        broken.push(format!("|safe is used in {unescaped:?}; one file at most may answer for unescaped text"));
    }
    assert_none(broken);
}

/// Whether a line of markup has an attribute such as `onclick=`.
fn has_handler_attribute(line: &str) -> bool {
    line.match_indices(" on").any(|(at, _)| {
        let name = line[at + 3..].chars().take_while(char::is_ascii_lowercase).count();
        name > 1 && line[at + 3 + name..].starts_with("=\"")
    })
}

#[test]
fn every_setting_and_limit_is_in_the_readme() {
    let settings = fs::read_to_string(root().join("src/settings.rs")).unwrap();
    let readme = fs::read_to_string(root().join("README.md")).expect("README.md documents the settings");
    let between = |line: &str, open: &str, close: &str| {
        Some(line.split_once(open)?.1.split_once(close)?.0.trim().to_owned()).filter(|name| !name.is_empty())
    };
    let names: Vec<String> = settings
        .lines()
        .filter_map(|line| between(line, "env = \"", "\"").or_else(|| between(line, "pub const ", ":")))
        .collect();
    assert!(names.len() >= 5, "src/settings.rs is read wrongly: {names:?}");
    assert_none(
        names
            .into_iter()
            .filter(|name| !mentions(&readme, name))
            .map(|name| format!("{name} (src/settings.rs) is not described in README.md"))
            .collect(),
    );
}

#[test]
fn every_migration_is_embedded() {
    let on_disk = files("migrations", ".sql").len();
    let embedded = sqlx::migrate!("./migrations").iter().count();
    assert_eq!(on_disk, embedded, "migrations/ holds {on_disk} files and the program {embedded}");
}
