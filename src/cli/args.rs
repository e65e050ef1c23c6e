//! What can be asked for on the command line.

mod start;
mod values;

pub use start::{Demo, Like, New};

use clap::{Args, Parser, Subcommand, ValueEnum};
use fogweft::base::limits;
use fogweft::base::units::Camera;
use fogweft::output::forms::{Also, Pan};
use fogweft::review::contact;
use fogweft::store::run::CACHE_SHARE;
use std::path::PathBuf;
use values::{camera, finite, form, scale, share, size, thickness};

/// Makes fog for layered 2D scenes: a matched sheet for every depth slot.
#[derive(Parser)]
#[command(name = "fogweft", bin_name = "fogweft", version, arg_required_else_help = true, after_help = EXIT_CODES)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
    #[arg(long = "limit", value_name = "NAME=NUMBER", global = true, help = limits_help())]
    pub limits: Vec<String>,
}

fn limits_help() -> String {
    format!("Raise or lower a limit (may be repeated): {}", limits::NAMES.join(", "))
}

const EXIT_CODES: &str = "Exit codes: 0 success, 1 a check failed, 2 usage error, 3 scene or preset error, 4 input picture error, 5 output error, 6 limit exceeded.";

#[derive(Subcommand)]
pub enum Command {
    /// Write the embedded demo scene into a folder and render it
    Demo(Demo),
    /// Render scenes: their fog, their pictures, a manifest and a still for each
    Render(Render),
    /// Show sizes, periods, pan rates and optical depths without rendering
    Plan(Plan),
    /// Create a scene in a new folder
    New(New),
    /// List the presets
    Presets(Presets),
    /// Make one sheet without a scene
    Sheet(Sheet),
    /// Make the rim of one silhouette without a scene
    Rim(Rim),
    /// Measure scenes and check them against their own limits
    Check(Check),
    /// Draw variations of a slot, by seed or along one number, and write the chosen one into the scene
    Vary(Vary),
    /// Serve a browser page for tuning a scene by hand; the scene file follows
    Tune(Tune),
    /// Print the JSON Schema of a file format
    Schema(Schema),
    /// Print completions for a shell
    Completions(Completions),
    /// Write man pages to a folder
    Man(Man),
    /// Delete the hidden caches of earlier runs
    Clean(Clean),
}

#[derive(Args)]
pub struct Scene {
    /// The scene file
    #[arg(value_name = "SCENE")]
    pub scene: PathBuf,
    /// Override a value of the scene, a slot or a recipe: air.visibility=2000, smear.length=300, slot.reeds.depth=200
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub sets: Vec<String>,
}

#[derive(Args)]
pub struct Levels {
    /// Scene files, and folders: every scene below them
    #[arg(value_name = "LEVEL", required = true)]
    pub levels: Vec<PathBuf>,
    /// Override a value of the scenes, a slot or a recipe: air.visibility=2000, smear.length=300, slot.reeds.depth=200
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub sets: Vec<String>,
}

#[derive(Args)]
pub struct Clean {
    /// Folders of outputs, scene files, or folders above them
    #[arg(value_name = "PATH", required = true)]
    pub paths: Vec<PathBuf>,
}

#[derive(Args)]
pub struct Render {
    #[command(flatten)]
    pub levels: Levels,
    /// Output folder; of several levels, one below it for each [default: <scene's name>-sheets, beside the scene file]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Texels per scene px; may be repeated, each scale gets its own folder [default: 1]
    #[arg(long = "scale", value_name = "F", value_parser = scale)]
    pub scales: Vec<f64>,
    /// Write only this slot's files; may be repeated
    #[arg(long, value_name = "SLOT")]
    pub only: Vec<String>,
    /// Bits per channel of the sheets and the still
    #[arg(long, value_name = "BITS", default_value = "8", value_parser = ["8", "16"])]
    pub bits: String,
    /// Camera place of the still, in scene px of travel to the right and down; X alone is at the top [default: the middle of the travel]
    #[arg(long, value_name = "X,Y", value_parser = camera, allow_hyphen_values = true)]
    pub at: Option<Camera>,
    /// Frames of a seamless fog animation: numbered files beside each sheet
    #[arg(long, value_name = "N", default_value = "1", value_parser = clap::value_parser!(u32).range(1..=240))]
    pub frames: u32,
    /// Also write the stack as: ora (layered file for painters), glb (3D scene), pan (animated camera pan), preview (web page), svg (vector drawing), strip (the whole travel as one long still)
    #[arg(long, value_name = "FORM", value_delimiter = ',', value_parser = form)]
    pub also: Vec<Also>,
    /// Maximum width of the animated pan in texels; never more than the view
    #[arg(long, value_name = "PX", default_value_t = Pan::default().width, value_parser = clap::value_parser!(u32).range(16..=4096))]
    pub pan_width: u32,
    /// Frames of the animated pan, there and back
    #[arg(long, value_name = "N", default_value_t = Pan::default().frames, value_parser = clap::value_parser!(u16).range(2..=600))]
    pub pan_frames: u16,
    /// Render the scene in this mood, to the subfolder mood-NAME of the output folder; may be repeated
    #[arg(long = "mood", value_name = "NAME", conflicts_with = "all_moods")]
    pub moods: Vec<String>,
    /// Render the scene without a mood and in every mood
    #[arg(long)]
    pub all_moods: bool,
    /// Keep running, and render again whenever the scene, a preset or a picture is saved
    #[arg(long)]
    pub watch: bool,
    /// Write the dependencies of the outputs in Make's format
    #[arg(long, value_name = "FILE")]
    pub depfile: Option<PathBuf>,
    /// Rebuild everything
    #[arg(long)]
    pub again: bool,
    /// Keep nothing hidden on disk for the next run
    #[arg(long)]
    pub no_cache: bool,
    /// Most that is kept hidden on disk for the next run, as a share of the outputs' size; 8 makes runs after small changes of large scenes faster
    #[arg(long, value_name = "SHARE", default_value_t = CACHE_SHARE, value_parser = share)]
    pub cache: f64,
    /// Overwrite outputs that were edited since the last run; by default they are kept and new versions are written beside them. Also
    /// overwrite a file named by --depfile that fogweft didn't write
    #[arg(long)]
    pub replace: bool,
    /// Delete outputs that are no longer part of the scene, unless they were edited
    #[arg(long)]
    pub prune: bool,
    /// Print how long each stage and each file took, and the memory held after it
    #[arg(long)]
    pub timings: bool,
    /// Print only errors and warnings
    #[arg(long, short)]
    pub quiet: bool,
}

#[derive(Args)]
pub struct Plan {
    #[command(flatten)]
    pub levels: Levels,
    /// Texels per scene px
    #[arg(long, value_name = "F", default_value = "1", value_parser = scale)]
    pub scale: f64,
    /// Plan the scene in this mood
    #[arg(long, value_name = "NAME")]
    pub mood: Option<String>,
    /// Print as JSON
    #[arg(long)]
    pub json: bool,
}

#[derive(Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Presets {
    #[command(subcommand)]
    pub command: Option<PresetsCommand>,
    /// Include the presets available to this scene
    #[arg(long, value_name = "SCENE")]
    pub from: Option<PathBuf>,
    /// Draw all presets over one plain scene, as a labelled PNG
    #[arg(long, value_name = "FILE")]
    pub picture: Option<PathBuf>,
    /// Width of each tile of the picture in texels
    #[arg(long, value_name = "PX", requires = "picture", default_value_t = contact::TILE)]
    #[arg(value_parser = clap::value_parser!(u32).range(i64::from(*contact::TILES.start())..=i64::from(*contact::TILES.end())))]
    pub tile: u32,
    /// Overwrite FILE even if fogweft didn't write it, or it was edited since
    #[arg(long, requires = "picture")]
    pub replace: bool,
}

#[derive(Subcommand)]
pub enum PresetsCommand {
    /// Show one preset: its title, use, definition and numbers
    Show(Show),
}

#[derive(Args)]
pub struct Show {
    /// Name of the preset; with --from, also of a slot
    #[arg(value_name = "NAME")]
    pub name: String,
    /// Show the values in this scene, and where each comes from
    #[arg(long, value_name = "SCENE")]
    pub from: Option<PathBuf>,
    /// Override a value
    #[arg(long = "set", value_name = "KEY=VALUE", requires = "from")]
    pub sets: Vec<String>,
    /// Mood of the scene
    #[arg(long, value_name = "NAME", requires = "from")]
    pub mood: Option<String>,
}

#[derive(Args)]
pub struct Vary {
    #[command(flatten)]
    pub scene: Scene,
    /// Slot to vary
    #[arg(value_name = "SLOT")]
    pub slot: String,
    /// Number of variations
    #[arg(long, value_name = "N", default_value_t = 9, value_parser = clap::value_parser!(u32).range(2..=64))]
    pub count: u32,
    /// Vary this number instead of the seed: soften.sigma=8..40
    #[arg(long, value_name = "KEY=FROM..TO", allow_hyphen_values = true)]
    pub along: Option<String>,
    /// Write this variation's value into the scene file instead of drawing
    #[arg(long, value_name = "K")]
    pub pick: Option<usize>,
    /// Camera place, in scene px of travel to the right and down; X alone is at the top [default: the middle of the travel]
    #[arg(long, value_name = "X,Y", value_parser = camera, allow_hyphen_values = true)]
    pub at: Option<Camera>,
    /// Width of each tile in texels
    #[arg(long, value_name = "PX", default_value_t = contact::TILE)]
    #[arg(value_parser = clap::value_parser!(u32).range(i64::from(*contact::TILES.start())..=i64::from(*contact::TILES.end())))]
    pub tile: u32,
    /// Picture to write [default: <scene's name>-<SLOT>-vary.png, beside the scene file]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Overwrite FILE even if fogweft didn't write it, or it was edited since
    #[arg(long)]
    pub replace: bool,
}

#[derive(Args)]
pub struct Tune {
    /// The scene file
    #[arg(value_name = "SCENE")]
    pub scene: PathBuf,
    /// Local port; if it is in use, another is chosen
    #[arg(long, value_name = "N", default_value_t = fogweft::tune::PORT)]
    pub port: u16,
    /// Open the page in the browser
    #[arg(long)]
    pub open: bool,
    /// Tune this mood of the scene: changes become its overrides
    #[arg(long, value_name = "NAME")]
    pub mood: Option<String>,
}

#[derive(Args)]
pub struct Schema {
    /// File format
    #[arg(value_name = "KIND")]
    pub of: SchemaOf,
}

#[derive(Clone, Copy, ValueEnum)]
pub enum SchemaOf {
    /// A scene file, of the current folder's project if there is one
    Scene,
    /// A preset file
    Preset,
    /// The manifest beside the outputs
    Manifest,
}

#[derive(Args)]
pub struct Completions {
    /// Shell
    #[arg(value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

#[derive(Args)]
pub struct Man {
    /// Folder for the pages
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
    /// Overwrite pages even if fogweft didn't write them, or they were edited since
    #[arg(long)]
    pub replace: bool,
}

#[derive(Args)]
pub struct Sheet {
    /// Preset
    #[arg(long, value_name = "NAME")]
    pub preset: String,
    /// Width and height in texels
    #[arg(long, value_name = "WxH", value_parser = size)]
    pub size: [u32; 2],
    /// Repeat along x after this many texels [default: the width]
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(1..))]
    pub period: Option<u32>,
    /// Seed of the noise
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Colour of the haze, #rrggbb
    #[arg(long, value_name = "COLOUR", default_value = "#d9d4c7")]
    pub haze: String,
    /// Optical thickness along the fog's line
    #[arg(long, value_name = "TAU", default_value = "1", value_parser = thickness)]
    pub thickness: f64,
    /// Height of the anchor line, in texels from the top [default: 0.83 of the height on the ground, 0 under the sky]
    #[arg(long, value_name = "PX", value_parser = finite, allow_negative_numbers = true)]
    pub line: Option<f64>,
    /// Where the light comes from, in degrees: 0 right, 90 above, 180 left
    #[arg(long, value_name = "DEGREES", default_value = "180", value_parser = finite, allow_negative_numbers = true)]
    pub light: f64,
    /// Override a value of the recipe: smear.length=300
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub sets: Vec<String>,
    /// Picture whose strokes become fog, from the left top on: white adds, black clears, alpha is how much
    #[arg(long, value_name = "FILE")]
    pub strokes: Option<PathBuf>,
    /// Bits per channel
    #[arg(long, value_name = "BITS", default_value = "8", value_parser = ["8", "16"])]
    pub bits: String,
    /// Frames of a seamless fog animation: numbered files beside FILE
    #[arg(long, value_name = "N", default_value = "1", value_parser = clap::value_parser!(u32).range(1..=240))]
    pub frames: u32,
    /// Write all frames into FILE, one below the other
    #[arg(long, requires = "frames")]
    pub strip: bool,
    /// File to write
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Overwrite FILE even if fogweft didn't write it, or it was edited since
    #[arg(long)]
    pub replace: bool,
}

#[derive(Args)]
pub struct Rim {
    /// Picture of the silhouette, PNG or SVG
    #[arg(value_name = "ART")]
    pub art: PathBuf,
    /// Colour of the haze, #rrggbb
    #[arg(long, value_name = "COLOUR")]
    pub haze: String,
    /// Lightness difference to aim for across the outline, CIE L*
    #[arg(long, value_name = "DL", value_parser = finite)]
    pub separation: f64,
    /// Background: a colour, or a picture stretched to the silhouette's frame
    #[arg(long, value_name = "COLOUR|IMAGE")]
    pub behind: String,
    /// Standard deviation of the rim's blur, in texels
    #[arg(long, value_name = "PX", default_value = "26", value_parser = finite)]
    pub spread: f64,
    /// Maximum opacity of the rim
    #[arg(long, value_name = "SHARE", default_value = "0.5", value_parser = finite)]
    pub most: f64,
    /// Darken where the haze is no lighter than the silhouette
    #[arg(long)]
    pub darken: bool,
    /// Preset whose bands break up the rim
    #[arg(long, value_name = "NAME", default_value = "radiation-fog")]
    pub preset: String,
    /// Seed of the noise
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Where the light comes from, in degrees: 0 right, 90 above, 180 left
    #[arg(long, value_name = "DEGREES", default_value = "135", value_parser = finite, allow_negative_numbers = true)]
    pub light: f64,
    /// How the renderer blends colours
    #[arg(long, value_name = "SPACE", default_value = "encoded", value_parser = ["encoded", "linear"])]
    pub blending: String,
    /// Override a value of the recipe: bands.size=60
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub sets: Vec<String>,
    /// Bits per channel
    #[arg(long, value_name = "BITS", default_value = "8", value_parser = ["8", "16"])]
    pub bits: String,
    /// File to write
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Overwrite FILE even if fogweft didn't write it, or it was edited since
    #[arg(long)]
    pub replace: bool,
}

#[derive(Args)]
pub struct Check {
    #[command(flatten)]
    pub levels: Levels,
    /// Texels per scene px
    #[arg(long, value_name = "F", default_value = "1", value_parser = scale)]
    pub scale: f64,
    /// Look at moments of the loop that so many frames of fog make, and of its drift, too
    #[arg(long, value_name = "N", default_value = "1", value_parser = clap::value_parser!(u32).range(1..=240))]
    pub frames: u32,
    /// Check the scene in this mood
    #[arg(long, value_name = "NAME")]
    pub mood: Option<String>,
    /// Print as JSON
    #[arg(long)]
    pub json: bool,
}
