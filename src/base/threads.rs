//! Work over the parts of something, side by side where the library is compiled with threads (feature `parallel`), else one after the other.
//! Parts don't see each other, so that the number of threads can't change a bit.

#[cfg(feature = "parallel")]
use rayon::prelude::*;

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

/// What both give.
pub fn both<A: Send, B: Send>(a: impl FnOnce() -> A + Send, b: impl FnOnce() -> B + Send) -> (A, B) {
    #[cfg(feature = "parallel")]
    return rayon::join(a, b);
    #[cfg(not(feature = "parallel"))]
    (a(), b())
}
