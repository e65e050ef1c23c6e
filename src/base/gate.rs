//! Memory that several runs share: each waits until there is enough for it.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// So many bytes for all.
#[derive(Debug)]
pub struct Gate {
    all: u64,
    held: Mutex<Held>,
    left: Condvar,
}

#[derive(Debug, Default)]
struct Held {
    runs: usize,
    bytes: u64,
}

/// What a run holds, until it is dropped.
#[derive(Debug)]
pub struct Pass<'a> {
    gate: &'a Gate,
    bytes: u64,
}

impl Gate {
    /// One that lets runs hold `all` bytes together.
    pub fn new(all: u64) -> Gate {
        Gate { all, held: Mutex::default(), left: Condvar::new() }
    }

    /// Waits until there are `bytes` for a run; who is alone has all there is.
    pub fn pass(&self, bytes: u64) -> Pass<'_> {
        let full = |held: &mut Held| held.runs > 0 && held.bytes.saturating_add(bytes) > self.all;
        let mut held = self.left.wait_while(self.held(), full).unwrap_or_else(PoisonError::into_inner);
        (held.runs, held.bytes) = (held.runs + 1, held.bytes.saturating_add(bytes));
        Pass { gate: self, bytes }
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Pass<'_> {
    fn drop(&mut self) {
        let mut held = self.gate.held();
        (held.runs, held.bytes) = (held.runs - 1, held.bytes.saturating_sub(self.bytes));
        self.gate.left.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicU64, Ordering};

    #[test]
    fn runs_hold_no_more_together_than_there_is_and_one_alone_may() {
        let (gate, held, most) = (Gate::new(100), AtomicU64::new(0), AtomicU64::new(0));
        std::thread::scope(|scope| {
            for bytes in [60, 30, 50, 20, 90, 40] {
                let (gate, held, most) = (&gate, &held, &most);
                scope.spawn(move || {
                    for _ in 0..50 {
                        let pass = gate.pass(bytes);
                        most.fetch_max(held.fetch_add(bytes, Ordering::SeqCst) + bytes, Ordering::SeqCst);
                        std::thread::yield_now();
                        held.fetch_sub(bytes, Ordering::SeqCst);
                        drop(pass);
                    }
                });
            }
        });
        assert!((90..=100).contains(&most.into_inner()));
        drop(gate.pass(1000));
        assert_eq!(gate.held().bytes, 0);
    }
}
