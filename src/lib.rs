//! fogweft makes the fog of layered 2D scenes: from a scene (depths, pictures, air) to one matched sheet of fog for every depth
//! slot, a manifest that says where each stands, and a still of the whole stack.
//!
//! # A texture at run time
//!
//! [`Fog`] makes one sheet by a preset's recipe, without a scene and without a file. A number that is out of range is a fault, not a
//! panic.
//!
//! ```
//! use fogweft::Fog;
//!
//! let sheet = Fog::preset("mist").size(512, 256).line(200.0).seed(7).haze([0xd9, 0xd0, 0xb8]).build()?;
//! assert_eq!(sheet.rgba8().len(), 512 * 256 * 4); // straight alpha, sRGB, row by row; left and right edges meet
//!
//! let faults = Fog::preset("mits").line(f64::NAN).build().unwrap_err();
//! assert_eq!(faults.list.len(), 2); // all that is wrong at once, each with its remedy
//! # Ok::<(), fogweft::Faults>(())
//! ```
//!
//! # Its density alone
//!
//! ```
//! use fogweft::Fog;
//!
//! let sheet = Fog::preset("fog-bank").set("falloff.height", 40).size(256, 128).line(100.0).build()?;
//! let density = sheet.density(); // one number a texel, mean 1 along the fog's line
//! let few = sheet.density_at(&[[0, 100], [128, 20]]); // or at some texels only
//! assert_eq!(few, [density[100 * 256], density[20 * 256 + 128]]);
//! # Ok::<(), fogweft::Faults>(())
//! ```
//!
//! # As 32-bit floats
//!
//! ```
//! use fogweft::Fog;
//!
//! let texels = Fog::preset("sea-fret").size(256, 128).optical_depth(2.5).build()?.rgba32f();
//! assert!(texels.iter().all(|number| (0.0..=1.0).contains(number)));
//! # Ok::<(), fogweft::Faults>(())
//! ```
//!
//! # A scene without files
//!
//! [`SceneInMemory`] renders what the program renders, to the same bytes.
//!
//! ```
//! use fogweft::SceneInMemory;
//!
//! let text = r##"
//!     view = [320, 180]
//!     travel = 200
//!     [air]
//!     haze = "#d9d0b8"
//!     visibility = 900
//!     [[slot]]
//!     name = "ridge"
//!     depth = 800
//!     [[slot]]
//!     name = "pines"
//!     depth = 200
//!     art = "pines.svg"
//! "##;
//! let pines = r##"<svg xmlns="http://www.w3.org/2000/svg" width="90" height="120"><path d="M45 0 90 120H0z"/></svg>"##;
//! let rendered = SceneInMemory::from_text(text).with_picture("pines.svg", pines).render()?;
//! assert!(rendered.file("pines.fog.png").is_some_and(|png| png.starts_with(b"\x89PNG")));
//! for file in &rendered.files {
//!     println!("{}: {} bytes", file.name, file.bytes.len());
//! }
//! # Ok::<(), fogweft::Faults>(())
//! ```
//!
//! # Its features
//!
//! | feature | what it brings |
//! |---|---|
//! | `core` | a sheet on its own ([`Fog`]); always there |
//! | `parallel`, `simd` | the same bytes sooner: on all processors, and with their widest registers |
//! | `scene` | scenes in memory ([`SceneInMemory`]) with PNG pictures; brings the two above |
//! | `svg` | SVG pictures in scenes |
//! | `forms` | the stack in other forms ([`Also`]) |
//! | `tune`, `cli` | the tuning page, and the program; neither has an interface for others |
//!
//! What isn't shown here is public for the program and its tests alone, and changes with them.

#![forbid(unsafe_code)]
// What only scenes ask of the ground words, the steps and the keys is still compiled without them.
#![cfg_attr(not(feature = "cli"), allow(dead_code, unused_imports))]

// Public for the program and its tests, which are crates of their own; what is for others stands below.
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod base;
#[cfg(not(feature = "scene"))]
mod base;
mod front;
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod output;
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod plan;
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod review;
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod rim;
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod scene;
#[cfg(not(feature = "scene"))]
mod scene;
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod stack;
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod steps;
#[cfg(not(feature = "scene"))]
mod steps;
#[cfg(feature = "scene")]
#[doc(hidden)]
pub mod store;
#[cfg(feature = "tune")]
#[doc(hidden)]
pub mod tune;

pub use base::fault::Faults;
pub use base::{fault, law, limits, units, words};
pub use front::{Fog, FogSheet};
#[cfg(feature = "scene")]
pub use front::{RenderedScene, SceneInMemory};
#[cfg(feature = "forms")]
pub use output::forms::Also;
#[cfg(feature = "scene")]
pub use output::{Effort, manifest};
#[cfg(feature = "scene")]
pub use store::run::{NamedFile, Sink};
