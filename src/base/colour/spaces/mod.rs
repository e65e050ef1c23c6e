//! Ways between sRGB as it is encoded, linear light and Oklab, numbers in double precision.
//!
//! By crate `palette`, but for a sheet on its own (no feature `scene`): that crate and its procedural macro would take a third of the
//! time in which `core` is compiled, for the four formulas that a sheet asks of it. The tests hold both to the same bits.

#[cfg(any(not(feature = "scene"), test))]
mod formulas;
#[cfg(feature = "scene")]
mod library;

#[cfg(not(feature = "scene"))]
pub(super) use formulas::{decode, encode, from_oklab, to_oklab};
#[cfg(feature = "scene")]
pub(super) use library::{decode, encode, from_oklab, to_oklab};

#[cfg(all(test, feature = "scene"))]
mod tests {
    use super::{formulas, library};

    /// Numbers over and around all that colours hold.
    fn numbers() -> Vec<f64> {
        let whole = (-40..=2100).map(|at| f64::from(at) / 2048.0);
        let near = [0.04045, 0.003_130_8, 0.0, 1.0, 1.0 / 3.0].into_iter();
        whole.chain(near.flat_map(|at: f64| [at.next_down(), at, at.next_up()])).chain([-0.0]).collect()
    }

    /// Triples of them.
    fn triples() -> Vec<[f64; 3]> {
        let all = numbers();
        let at = |place: usize| all[place % all.len()];
        (0..20_000).map(|k| [at(k), at(k * 7 + 3), at(k * 131 + 11)]).collect()
    }

    fn bits(numbers: [f64; 3]) -> [u64; 3] {
        numbers.map(f64::to_bits)
    }

    #[test]
    fn formulas_give_the_library_s_bits() {
        for triple in triples() {
            assert_eq!(bits(formulas::decode(triple)), bits(library::decode(triple)), "decoded {triple:?}");
            assert_eq!(bits(formulas::encode(triple)), bits(library::encode(triple)), "encoded {triple:?}");
            assert_eq!(
                bits(formulas::to_oklab(triple)),
                bits(library::to_oklab(triple)),
                "to Oklab {triple:?}"
            );
            assert_eq!(
                bits(formulas::from_oklab(triple)),
                bits(library::from_oklab(triple)),
                "from Oklab {triple:?}"
            );
        }
    }
}
