//! Tables for people.

/// Lays out rows in columns: the first `left` columns to the left, the others to the right.
pub fn layout(head: &[&str], rows: &[Vec<String>], left: usize) -> String {
    let widths: Vec<usize> = head
        .iter()
        .enumerate()
        .map(|(at, title)| {
            rows.iter().map(|row| row[at].chars().count()).chain([title.chars().count()]).max().unwrap_or(0)
        })
        .collect();
    let mut text = line(head, &widths, left);
    for row in rows {
        text += &line(row, &widths, left);
    }
    text
}

fn line(cells: &[impl std::fmt::Display], widths: &[usize], left: usize) -> String {
    let mut text = String::new();
    for (at, (cell, width)) in cells.iter().zip(widths).enumerate() {
        text += &if at < left { format!("{cell:<width$}  ") } else { format!("{cell:>width$}  ") };
    }
    text.truncate(text.trim_end().len());
    text + "\n"
}

/// A number with as many decimals as it needs, at most `most`.
pub fn number(value: f64, most: usize) -> String {
    let text = format!("{value:.most$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A length of a file in words.
pub fn bytes(count: u64) -> String {
    match count {
        0..10_000 => format!("{count} B"),
        10_000..10_000_000 => format!("{} kB", count.div_ceil(1000)),
        _ => format!("{} MB", count.div_ceil(1_000_000)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_tidy() {
        assert_eq!(number(1.0, 3), "1");
        assert_eq!(number(0.125, 3), "0.125");
        assert_eq!(number(100.0, 0), "100");
        assert_eq!(number(0.04109, 3), "0.041");
    }
}
