//! Work over the parts of something, side by side where the library is compiled with threads (feature `parallel`), else one after the other.
//! Parts don't see each other, so that the number of threads can't change a bit.

#[cfg(feature = "parallel")]
use rayon::prelude::*;
#[cfg(feature = "parallel")]
use std::sync::{Mutex, PoisonError};

/// Runs `work(kept, number of the part, part)` over the parts of `data`, `length` numbers each but perhaps the last; a thread takes `least`
/// of them at once or more. `kept` goes from part to part of a thread, and must not change what is written.
pub fn each_part<T: Send, K: Default>(
    data: &mut [T],
    length: usize,
    least: usize,
    work: impl Fn(&mut K, usize, &mut [T]) + Sync + Send,
) {
    #[cfg(feature = "parallel")]
    data.par_chunks_mut(length)
        .with_min_len(least)
        .enumerate()
        .for_each_init(K::default, |kept, (at, part)| work(kept, at, part));
    #[cfg(not(feature = "parallel"))]
    {
        let _ = least;
        let mut kept = K::default();
        data.chunks_mut(length).enumerate().for_each(|(at, part)| work(&mut kept, at, part));
    }
}

/// What `work` makes of each part, in their order.
pub fn each<P: Send, R: Send>(parts: Vec<P>, work: impl Fn(P) -> R + Sync + Send) -> Vec<R> {
    #[cfg(feature = "parallel")]
    return parts.into_par_iter().map(work).collect();
    #[cfg(not(feature = "parallel"))]
    parts.into_iter().map(work).collect()
}

/// The same of no more than `at_once` of them at once: one is taken from the first on, the others from the last. So where they lie by what
/// they take, two that take most don't meet.
#[cfg(feature = "parallel")]
pub fn each_of<P: Send, R: Send>(
    parts: Vec<P>,
    at_once: usize,
    work: impl Fn(P) -> R + Sync + Send,
) -> Vec<R> {
    let rest = Mutex::new(parts.into_iter().enumerate());
    let next = |run: usize| {
        let mut rest = rest.lock().unwrap_or_else(PoisonError::into_inner);
        if run == 0 { rest.next() } else { rest.next_back() }
    };
    let run = |run: usize| std::iter::from_fn(|| next(run)).map(|(at, part)| (at, work(part))).collect();
    let runs = 0..at_once.clamp(1, rayon::current_num_threads());
    let made: Vec<Vec<(usize, R)>> = runs.into_par_iter().with_max_len(1).map(run).collect();
    let mut made: Vec<(usize, R)> = made.into_iter().flatten().collect();
    made.sort_by_key(|(at, _)| *at);
    made.into_iter().map(|(_, made)| made).collect()
}

#[cfg(all(test, feature = "parallel"))]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn no_more_are_worked_on_at_once_than_is_said() {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(8).build().expect("threads");
        for at_once in [1, 3, 8, 20] {
            let (now, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
            let work = |part: usize| {
                most.fetch_max(1 + now.fetch_add(1, Ordering::SeqCst), Ordering::SeqCst);
                // Threads that wait for a part of their own take others' parts meanwhile.
                let own: Vec<usize> = each((0..32).collect(), |at| {
                    std::thread::sleep(std::time::Duration::from_micros(100));
                    at
                });
                now.fetch_sub(1, Ordering::SeqCst);
                part * own.len()
            };
            let made = pool.install(|| each_of((0..40).collect(), at_once, work));
            assert_eq!(made, (0..40).map(|part| 32 * part).collect::<Vec<usize>>());
            let most = most.into_inner();
            assert!((1..=at_once.min(8)).contains(&most), "{most} of {at_once}");
            assert!(at_once == 1 || most > 1, "{most} of {at_once}");
        }
    }
}
