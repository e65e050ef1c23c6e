//! The five steps of a sheet, in the order in which they run, and what runs them: a density field, a sheet of texels.

pub mod along;
mod bands_spec;
mod bytes;
pub mod coefficients;
pub mod density;
pub mod dither;
pub mod facing;
pub mod field;
pub mod grid;
mod key;
mod line_mean;
pub mod moment;
pub mod periodic_noise;
pub mod recipe;
pub(crate) mod rounding;
pub mod scattering;
pub mod sheet;
pub mod slope;
pub mod step1_bands;
pub mod step2_falloff;
pub mod step3_smear;
pub mod step4_soften;
pub mod step5_grade;
pub mod strokes;
pub mod tears;
mod turning_noise;
pub mod upsample;
