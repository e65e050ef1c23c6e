//! What `demo` and `new` can be asked for.

use clap::{Args, ValueEnum};
use std::path::PathBuf;

#[derive(Args)]
pub struct Demo {
    /// Folder for the scene and its outputs
    #[arg(value_name = "DIR", default_value = "fogweft-demo")]
    pub dir: PathBuf,
    /// Write all three demo scenes, each to a folder of its own, render all their moods, and write a page to look at them
    #[arg(long)]
    pub all: bool,
    /// Print only errors and warnings
    #[arg(long, short)]
    pub quiet: bool,
}

#[derive(Args)]
pub struct New {
    /// Folder of the new scene
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
    /// Preset to start from [default: radiation-fog, or stratocumulus with --like sky]
    #[arg(long, value_name = "NAME")]
    pub preset: Option<String>,
    /// What the scene to start from shows [default: ground or sky, as the preset's fog lies]
    #[arg(long, value_name = "KIND", conflicts_with = "from")]
    pub like: Option<Like>,
    /// Layered file (OpenRaster) or folder of exported layers (PNG) that become the slots; a name like "reeds depth 120" sets the
    /// depth
    #[arg(long, value_name = "PAINTING")]
    pub from: Option<PathBuf>,
    /// Width and height of the game's frame on the painting, px [default: the canvas, or 16:9 at its height where it is wider]
    #[arg(long, value_name = "W,H", value_delimiter = ',', num_args = 1, requires = "from")]
    #[arg(value_parser = clap::value_parser!(u32).range(1..))]
    pub view: Vec<u32>,
    /// Copy the painting beside the scene, rather than use it where it is
    #[arg(long, requires = "from")]
    pub copy: bool,
    /// Make a slot of each layer of a group, rather than one of the group
    #[arg(long, requires = "from")]
    pub ungroup: bool,
    /// Print only errors, and notes on layers that were left out or changed
    #[arg(long, short)]
    pub quiet: bool,
}

#[derive(Clone, Copy, ValueEnum)]
pub enum Like {
    /// A lane at dawn, for fog on the ground
    Ground,
    /// A mountain pass, for cloud overhead
    Sky,
    /// A harbour town with lamps
    Night,
}
