//! Text in aligned columns.

/// Rows of cells, each column as wide as its widest cell, two blanks between;
/// the first column stands left, the others right. Characters, not bytes, count.
pub fn align(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |c: usize| {
        rows.iter().filter_map(|r| r.get(c)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut text = String::new();
    for row in rows {
        let cells = row.iter().zip(&widths).enumerate().map(|(c, (cell, width))| match c {
            0 => format!("{cell:<width$}"),
            _ => format!("{cell:>width$}"),
        });
        text += cells.collect::<Vec<_>>().join("  ").trim_end();
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_whatever_the_script() {
        let rows = [["a", "1 µA/m"], ["bcd", "22 nA/m"]].map(|r| r.map(String::from).to_vec());
        assert_eq!(align(&rows), "a     1 µA/m\nbcd  22 nA/m\n");
        assert_eq!(align(&[]), "");
    }
}
