//! `glebe import`: takes a folder of CSV files into the record, or says what it would do.

use super::{Error, Result};
use crate::{
    app::{
        App,
        import::{ImportInto, Preview},
    },
    exchange::record_set::FILES,
};
use clap::Args;
use std::{
    collections::BTreeMap,
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
};

/// What to take in, and where.
#[derive(Args, Debug)]
pub struct Import {
    /// Folder that holds the files of the set
    dir: PathBuf,
    /// Site that the plots belong to; added where there is none of this name
    #[arg(long)]
    site: String,
    /// Currency of a site that is added, as ISO 4217 writes it
    #[arg(long, default_value = "EUR")]
    currency: String,
    /// Say what would be taken in and what is wrong, and change nothing
    #[arg(long)]
    dry_run: bool,
}

/// Runs the command; fails where the set has problems.
pub async fn run(app: &App, args: Import) -> Result<()> {
    let files = read(&args.dir)?;
    let into = ImportInto { site: args.site.clone(), currency: args.currency };
    let told = if args.dry_run {
        app.preview_import(None, &into, files).await?
    } else {
        app.accept_import(None, &into, files).await?
    };
    print!("{}", words(&told, args.site.trim(), args.dry_run));
    if told.problems.is_empty() { Ok(()) } else { Err(Error::NotTakenIn(told.problems.len())) }
}

/// Every CSV file of a folder, by name.
fn read(dir: &Path) -> Result<BTreeMap<String, Vec<u8>>> {
    let named = |source| Error::File { file: dir.to_owned(), source };
    let mut files = BTreeMap::new();
    for entry in fs::read_dir(dir).map_err(named)? {
        let path = entry.map_err(named)?.path();
        let name = path.file_name().map(|name| name.to_string_lossy().to_lowercase()).unwrap_or_default();
        if name.ends_with(".csv") {
            let bytes = fs::read(&path).map_err(|source| Error::File { file: path.clone(), source })?;
            files.insert(name, bytes);
        }
    }
    if files.is_empty() {
        let source = std::io::Error::other("no CSV files are in this folder");
        return Err(Error::File { file: dir.to_owned(), source });
    }
    Ok(files)
}

/// What came of it, for the terminal.
fn words(told: &Preview, site: &str, dry_run: bool) -> String {
    let mut out = String::new();
    for problem in &told.problems {
        let _ = writeln!(out, "problem  {problem}");
    }
    for notice in &told.notices {
        let _ = writeln!(out, "note     {notice}");
    }
    let width = told.counts.iter().map(|(what, _)| what.len()).max().unwrap_or(0);
    let _ = writeln!(out, "{:width$}  {:>9}  {:>9}  {:>9}", "", "in files", "recorded", "new");
    for (what, count) in told.counts.iter().filter(|(_, count)| count.in_files > 0) {
        let _ = writeln!(out, "{what:width$}  {:>9}  {:>9}  {:>9}", count.in_files, count.already(), count.new);
    }
    let verdict = match (told.saved, told.problems.is_empty(), told.new_lines()) {
        (true, _, _) => format!("Taken into “{site}”."),
        (_, false, _) => "Nothing was taken in: solve the problems above, and try again.".into(),
        (_, _, 0) => format!("Nothing is new: “{site}” has all of it already."),
        _ if dry_run => format!("Nothing is wrong. Without --dry-run this would be taken into “{site}”."),
        _ => "Nothing was taken in.".into(),
    };
    let _ = writeln!(out, "{verdict}");
    out
}

/// The long help: every file and column.
pub fn long_help() -> String {
    let mut out = String::from(
        "Files are CSV (RFC 4180) in UTF-8; semicolons, tabs, a byte order mark and decimal commas are understood. \
         The first line names the columns, in any order. Dates are year-month-day. A set may lack any file. Lines that \
         are in the record already are recognised and left alone; where anything is wrong, nothing is taken in.\n",
    );
    for file in FILES {
        let _ = writeln!(out, "\n{}: {}", file.name, file.about);
        for column in file.columns {
            let mark = if column.needed { "*" } else { " " };
            let _ = writeln!(out, "  {mark} {}{}", column.name, about(column.about));
        }
    }
    out.push_str("\nColumns marked * are needed.");
    out
}

fn about(text: &str) -> String {
    if text.is_empty() { String::new() } else { format!(": {text}") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{app::import::Count, exchange::record_set::ImportProblem};

    #[test]
    fn the_terminal_says_what_came_of_it() {
        let counts = vec![("plots", Count { in_files: 3, new: 1 })];
        let clean = Preview { counts, ..Preview::default() };
        assert!(words(&clean, "Home", true).ends_with("Without --dry-run this would be taken into “Home”.\n"));
        let saved = words(&Preview { saved: true, ..clean.clone() }, "Home", false);
        assert!(saved.contains("plots          3          2          1\n"), "{saved}");
        let known = Preview { counts: vec![("plots", Count { in_files: 3, new: 0 })], ..Preview::default() };
        assert!(words(&known, "Home", false).contains("Nothing is new"));
        let problem =
            ImportProblem { file: "plots.csv".into(), line: 2, column: "area_m2".into(), message: "no".into() };
        let wrong = words(&Preview { problems: vec![problem], ..clean }, "Home", false);
        assert!(wrong.starts_with("problem  plots.csv, line 2, area_m2: no\n"), "{wrong}");
        assert!(wrong.contains("Nothing was taken in"));
    }

    #[test]
    fn the_help_explains_every_column() {
        let help = long_help();
        for file in FILES {
            assert!(help.contains(file.name));
            assert!(file.column_names().all(|column| help.contains(column)));
        }
    }
}
