//! A table as CSV (RFC 4180, UTF-8), for spreadsheets and for other programs.

use csv::Writer;

/// The table, its heads first. A text that a spreadsheet would take for a formula is given
/// an apostrophe before it; numbers are left as they are.
pub fn table(heads: &[String], rows: impl IntoIterator<Item = Vec<String>>) -> Vec<u8> {
    let mut writer = Writer::from_writer(Vec::new());
    // Writing to memory does not fail, and every row has as many cells as there are heads.
    let mut write = |row: Vec<String>| drop(writer.write_record(row.into_iter().map(safe)));
    write(heads.to_vec());
    rows.into_iter().for_each(write);
    writer.into_inner().unwrap_or_default()
}

fn safe(cell: String) -> String {
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err();
    if formula { format!("'{cell}") } else { cell }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stay_and_formulas_become_text() {
        let row = ["-1.5", "=1+1", "a, \"b\"", ""].map(str::to_owned).to_vec();
        let text = String::from_utf8(table(&["a", "b", "c", "d"].map(str::to_owned), [row])).unwrap();
        assert_eq!(text, "a,b,c,d\n-1.5,'=1+1,\"a, \"\"b\"\"\",\n");
    }
}
