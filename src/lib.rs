//! fogweft makes the fog of layered 2D scenes: from a scene (depths, pictures, air) to one matched sheet of fog for every depth
//! slot, a manifest that says where each stands, and a still of the whole stack.
//!
//! Data flows one way: text to [`scene`], with its recipes from [`recipe`]; scene to [`plan`]; plan to [`field`]s and
//! [`sheet`]s and drawn [`art`]; these to the [`still`], to [`texture`]s and, through [`export`] and [`out`], to bytes and files.
//! [`render`] is the whole run. Layered files come in by [`layered`].
//!
//! # From a scene's text to bytes
//!
//! ```
//! use fogweft::limits::Limits;
//! use fogweft::out::Effort;
//! use fogweft::plan::Plan;
//! use fogweft::render::{Arts, Stack, still_png};
//! use fogweft::scene::read;
//! use fogweft::sheet::Bits;
//! use std::path::Path;
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
//!     smear.length = 90
//! "##;
//! let limits = Limits::default();
//! let scene = read::read_text(Path::new("scene.toml"), text, &[], &limits, true)?;
//! let arts = Arts::open(&scene, &limits)?; // none of the slots has a picture
//! let plan = Plan::new(&scene, &arts.naturals(), 1.0, &limits)?;
//! let stack = Stack::new(&plan, &arts, &limits)?;
//! for (index, job) in plan.files.iter().enumerate() {
//!     let (png, _opaque) = stack.png(index, Bits::Eight, Effort::Balanced);
//!     println!("{}: {} bytes", job.placing().path, png.len());
//!     assert!(png.starts_with(b"\x89PNG"));
//! }
//! let still = still_png(&stack.still(100.0), Bits::Eight, Effort::Balanced);
//! assert!(still.starts_with(b"\x89PNG"));
//! # Ok::<(), fogweft::fault::Faults>(())
//! ```

#![forbid(unsafe_code)]

pub mod air;
pub mod art;
pub mod arts;
pub mod check;
pub mod colour;
pub mod contact;
pub mod exp;
pub mod export;
pub mod fault;
pub mod field;
pub mod folder;
pub mod keys;
pub mod law;
pub mod layered;
pub mod lettering;
pub mod limits;
pub mod out;
pub mod plan;
pub mod progress;
pub mod recipe;
pub mod render;
pub mod report;
pub mod rerun;
pub mod rim;
pub mod scene;
pub mod schema;
pub mod seed;
pub mod sheet;
#[cfg(feature = "tune")]
pub mod signs;
pub mod starter;
pub mod still;
pub mod texture;
pub mod treat;
#[cfg(feature = "tune")]
pub mod tune;
pub mod values;
pub mod vary;
mod wide;
