//! Memory that is asked for where a number or a picture says how much: none left is a fault, not the end of the program.

use crate::base::fault::{Class, Fault};
use std::cell::Cell;

thread_local! {
    static ASKING: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread asks for memory and goes on where there is none: an allocator that ends the program must not do so then.
pub fn is_asking() -> bool {
    ASKING.try_with(Cell::get).unwrap_or(false)
}

/// Asks for room for `count` more values; whether there was.
fn ask<T>(values: &mut Vec<T>, count: usize) -> bool {
    ASKING.set(true);
    let asked = values.try_reserve_exact(count);
    // Seen from outside, so that the request can't be left out.
    std::hint::black_box(values);
    ASKING.set(false);
    asked.is_ok()
}

/// Room for `count` values, all that `values` will hold.
///
/// # Errors
/// Class `Limit`: the system has no more; `what` the room is for.
pub fn reserve<T>(values: &mut Vec<T>, count: usize, what: &str) -> Result<(), Fault> {
    let bytes = (count as u64).saturating_mul(size_of::<T>() as u64);
    if ask(values, count) { Ok(()) } else { Err(none(what, bytes)) }
}

/// `count` zeros.
///
/// # Errors
/// As for [`reserve`].
pub fn zeroed(count: usize, what: &str) -> Result<Vec<u8>, Fault> {
    let mut values = Vec::new();
    reserve(&mut values, count, what)?;
    values.resize(count, 0);
    Ok(values)
}

/// Asks whether the system would give so many bytes now, and gives them back: what takes them in many pieces can begin.
///
/// # Errors
/// Class `Limit`: it wouldn't.
pub fn probe(bytes: u64, what: &str) -> Result<(), Fault> {
    let there = ask(&mut Vec::<u8>::new(), usize::try_from(bytes).unwrap_or(usize::MAX));
    if there { Ok(()) } else { Err(none(what, bytes)) }
}

fn none(what: &str, bytes: u64) -> Fault {
    Fault::new(
        Class::Limit,
        format!("{what} needs about {} MB of memory, more than the system has left", bytes >> 20),
    )
    .remedy("Render at a smaller scale, or close other programs.")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_machine_has_is_a_fault() {
        let most = isize::MAX as u64;
        for bytes in [most, most - 1, u64::MAX, 1 << 60] {
            let fault = probe(bytes, "the run").expect_err("refused");
            assert!(fault.class == Class::Limit && fault.message.contains("the run"), "{}", fault.message);
        }
        assert!(probe(1 << 20, "the run").is_ok() && probe(0, "the run").is_ok());
        assert!(reserve(&mut Vec::<[u16; 4]>::new(), usize::MAX / 2, "a picture").is_err());
    }
}
