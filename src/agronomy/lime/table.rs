//! Printed tables of lime by buffer pH and target pH, and reading between their lines. It
//! never reads beyond a table's edge, and says when a value stands between printed ones.

/// A printed table.
pub(super) struct Table<const COLUMNS: usize> {
    /// Target pH, rising.
    pub targets: [f64; COLUMNS],
    /// Buffer pH, falling, with the rate to each target.
    pub rows: &'static [(f64, [f64; COLUMNS])],
    /// Rows that the publisher prints and that could not be read.
    pub absent: &'static [f64],
}

/// Oregon State University EM 9585: short tons per acre of 100-score lime, 6 in sample.
pub(super) const OREGON: Table<5> = Table {
    targets: [5.6, 6.0, 6.4, 6.8, 7.2],
    rows: &[
        (6.9, [0.0, 0.0, 0.5, 0.8, 1.0]),
        (6.8, [0.0, 0.4, 0.8, 1.2, 1.6]),
        (6.7, [0.2, 0.7, 1.1, 1.6, 2.2]),
        (6.6, [0.4, 0.9, 1.5, 2.1, 2.7]),
        (6.5, [0.7, 1.2, 1.8, 2.5, 3.3]),
        (6.4, [0.9, 1.5, 2.1, 2.9, 3.8]),
        (6.2, [1.3, 2.0, 2.8, 3.7, 4.9]),
        (6.1, [1.5, 2.3, 3.1, 4.2, 5.5]),
        (6.0, [1.7, 2.5, 3.5, 4.6, 6.0]),
        (5.9, [1.9, 2.8, 3.8, 5.0, 6.6]),
        (5.8, [2.2, 3.1, 4.1, 5.4, 7.1]),
        (5.7, [2.7, 4.0, 5.5, 7.2, 9.9]),
        (5.6, [3.1, 4.5, 6.2, 8.3, 11.4]),
        (5.5, [3.5, 5.1, 7.0, 9.3, 12.9]),
        (5.4, [3.8, 5.6, 7.7, 10.3, 14.3]),
        (5.3, [4.2, 6.2, 8.5, 11.3, 15.8]),
        (5.1, [5.0, 7.3, 10.0, 13.0, 18.7]),
        (5.0, [5.3, 7.8, 10.7, 14.0, 20.2]),
        (4.9, [5.7, 8.4, 11.5, 15.0, 21.7]),
        (4.8, [6.1, 8.9, 12.2, 16.3, 23.2]),
    ],
    absent: &[6.3, 5.2],
};

/// Rayment & Lyons 2011, table 16.2: t/ha for 10 cm to pH 5.5 or 6.5 in water. The last cell to
/// pH 5.5 is printed "<0.5" and held at that limit.
pub(super) const SCMA: Table<2> = Table {
    targets: [5.5, 6.5],
    rows: &[(6.5, [0.5, 0.5]), (6.0, [0.5, 2.3]), (5.5, [2.2, 5.7]), (5.0, [5.0, 11.0]), (4.5, [8.6, 18.0])],
    absent: &[],
};

/// A value out of a table.
pub(super) struct Found {
    pub value: f64,
    /// How it was found: "printed", or between which lines.
    pub words: String,
    pub interpolated: bool,
}

/// Lines on both sides of a value, and how far along it lies; `None` beyond the edge.
fn bracket(lines: impl Iterator<Item = f64> + Clone, value: f64) -> Option<(usize, usize, f64)> {
    // A pH read from a sheet and one typed in a table are the same decimal, but for the last bit.
    if let Some(at) = lines.clone().position(|line| (line - value).abs() < 1e-9) {
        return Some((at, at, 0.0));
    }
    let before: Vec<f64> = lines.collect();
    before.windows(2).enumerate().find_map(|(at, pair)| {
        let (from, to) = (pair[0], pair[1]);
        ((from < value && value < to) || (to < value && value < from))
            .then(|| (at, at + 1, (value - from) / (to - from)))
    })
}

impl<const COLUMNS: usize> Table<COLUMNS> {
    /// The rate for a buffer pH and a target, between lines by straight lines both ways.
    pub fn look_up(&self, buffer_ph: f64, target: f64) -> Result<Found, String> {
        let ends = |first: f64, last: f64| (first.min(last), first.max(last));
        let (low, high) = ends(self.targets[0], self.targets[COLUMNS - 1]);
        let Some(column) = bracket(self.targets.iter().copied(), target) else {
            return Err(format!("The table goes from a target of pH {low} to {high}; pH {target} lies outside it."));
        };
        let (first, last) = (self.rows[0].0, self.rows[self.rows.len() - 1].0);
        let Some(row) = bracket(self.rows.iter().map(|(ph, _)| *ph), buffer_ph) else {
            let (low, high) = ends(first, last);
            return Err(if buffer_ph > high {
                format!(
                    "The table begins at a buffer pH of {high}; at {buffer_ph} the need is small, and the table does not say how small."
                )
            } else {
                format!("The table ends at a buffer pH of {low}; {buffer_ph} lies beyond it.")
            });
        };
        let across = |at: usize| {
            let cells = self.rows[at].1;
            cells[column.0] + (cells[column.1] - cells[column.0]) * column.2
        };
        let value = across(row.0) + (across(row.1) - across(row.0)) * row.2;
        let mut between = Vec::new();
        if row.0 != row.1 {
            let absent = self.absent.iter().any(|ph| (ph - buffer_ph).abs() < 1e-9);
            between.push(format!(
                "buffer pH {} and {}{}",
                self.rows[row.0].0,
                self.rows[row.1].0,
                if absent { ", its own row being missing from the copy read" } else { "" }
            ));
        }
        if column.0 != column.1 {
            between.push(format!("targets of pH {} and {}", self.targets[column.0], self.targets[column.1]));
        }
        let interpolated = !between.is_empty();
        let words = if interpolated { format!("between {}", between.join("; and ")) } else { "as printed".into() };
        Ok(Found { value, words, interpolated })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_missing_from_the_copy_comes_from_its_neighbours_and_says_so() {
        let found = OREGON.look_up(6.3, 6.4).unwrap();
        // Between 2.1 at 6.4 and 2.8 at 6.2 of the table.
        assert!((found.value - 2.45).abs() < 1e-9 && found.interpolated);
        assert!(found.words.contains("missing from the copy read"), "{}", found.words);
        assert!(OREGON.look_up(5.2, 5.6).unwrap().interpolated);
        assert!(!OREGON.look_up(6.0, 5.6).unwrap().interpolated);
    }

    #[test]
    fn a_table_is_not_read_beyond_its_edges() {
        for (buffer, target) in [(7.0, 6.0), (4.7, 6.0), (6.0, 5.5), (6.0, 7.3), (f64::NAN, 6.0)] {
            assert!(OREGON.look_up(buffer, target).is_err(), "{buffer} {target}");
        }
    }
}
