//! fogweft makes the fog of layered 2D scenes: from a scene (depths, pictures, air) to one matched sheet of fog for every depth
//! slot, a manifest that says where each stands, and a still of the whole stack.
//!
//! Data flows one way, and each module knows those before it alone: [`base`], the ground words; [`steps`], the five steps of a sheet;
//! [`scene`], from text to the scene as meant, and its pictures; [`plan`], every job, no pixels; [`rim`], the solver of rims; [`stack`], the jobs
//! worked out and composed; [`output`], PNG, textures, forms, manifest; [`store`], what is kept and made again, and the whole run;
//! [`review`], the check and variations.
//!
//! # From a scene's text to bytes
//!
//! ```
//! use fogweft::base::limits::Limits;
//! use fogweft::output::Effort;
//! use fogweft::plan::Plan;
//! use fogweft::output::pictures::still_png;
//! use fogweft::scene::pictures::Pictures;
//! use fogweft::stack::Stack;
//! use fogweft::scene::read;
//! use fogweft::base::units::Camera;
//! use fogweft::base::words::Bits;
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
//! let pictures = Pictures::open(&scene, &limits)?; // none of the slots has a picture
//! let plan = Plan::new(&scene, &pictures.naturals(), 1.0, &limits)?;
//! let stack = Stack::new(&plan, &pictures, &limits)?;
//! for (index, job) in plan.files.iter().enumerate() {
//!     let (png, _opaque) = stack.png(index, Bits::Eight, Effort::Balanced);
//!     println!("{}: {} bytes", job.placing().path, png.len());
//!     assert!(png.starts_with(b"\x89PNG"));
//! }
//! let still = still_png(&stack.still(Camera::new(100.0, 0.0)), Bits::Eight, Effort::Balanced);
//! assert!(still.starts_with(b"\x89PNG"));
//! # Ok::<(), fogweft::base::fault::Faults>(())
//! ```

#![forbid(unsafe_code)]

pub mod base;
pub mod output;
pub mod plan;
pub mod review;
pub mod rim;
pub mod scene;
pub mod stack;
pub mod steps;
pub mod store;
#[cfg(feature = "tune")]
pub mod tune;
