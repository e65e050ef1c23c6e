//! A tall level: a gorge from its rim to its floor, as the camera pans down. Its pictures are drawn here.

use super::Canvas;
use super::canvas::{LIGHT, MOUNT};
use super::scenes::{self, Show};
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::base::seed;
use fogweft::base::units::Camera;
use fogweft::base::words::Bits;
use fogweft::plan::{Plan, haze};
use fogweft::scene::pictures::Pictures;
use fogweft::stack::Stack;
use fogweft::store::cache::Store;
use fogweft::store::maker::{Maker, Request};
use std::fmt::Write;
use std::path::Path;

const VIEW: [f64; 2] = [1080.0, 1440.0];
/// How far the camera pans down.
const DOWN: f64 = 2400.0;
const CAMERA: f64 = 600.0;
/// Frames side by side, and their width.
const FRAMES: u32 = 4;
const WIDTH: f64 = 320.0;

const SCENE: &str = r##"
name = "gorge"
view = [1080, 1440]
travel = [0, 2400]
camera = 600
horizon = 560
ground = 3640
sky = 60
seed = 5
preset = "valley-fog"

[air]
haze = "#cfcbc6"
visibility = 2200
clear = 4200
aloft = "#a9b4c2"
glow = "#f3e3cb"
shade = "#8d97a6"
light = 40
"##;

/// A wall of rock or a range: where it stands and what it looks like.
struct Wall {
    name: &'static str,
    depth: f64,
    /// How far it reaches from the left and from the right, as shares of the view's width at its head and at its foot; none stands there.
    sides: [Option<[f64; 2]>; 2],
    /// Where its head stands, px under the view's top.
    head: f64,
    /// Colours of its body and of its lit planes.
    colours: [&'static str; 2],
    /// Firs on its ledges, px high.
    firs: f64,
    /// What of its fog is its own.
    fog: &'static str,
}

const WALLS: [Wall; 6] = [
    Wall {
        name: "peaks",
        depth: 3400.0,
        sides: [Some([0.2, 0.58]), Some([0.12, 0.5])],
        head: 470.0,
        colours: ["#717b8b", "#7b8593"],
        firs: 0.0,
        fog: "preset = \"stratocumulus\"\nanchor = \"sky\"\nline = 150\nshrink = 0.7\ngrade.thickness = 0.15",
    },
    Wall {
        name: "far-walls",
        depth: 1700.0,
        sides: [Some([0.3, 0.44]), Some([0.2, 0.4])],
        head: 330.0,
        colours: ["#5d6777", "#697382"],
        firs: 14.0,
        fog: "preset = \"fog-bank\"\nshrink = 0.5",
    },
    Wall {
        name: "middle-walls",
        depth: 760.0,
        sides: [Some([0.16, 0.36]), Some([0.28, 0.34])],
        head: 400.0,
        colours: ["#475160", "#535d6b"],
        firs: 34.0,
        fog: "preset = \"smoke-layer\"\nline = 1150\nshrink = 0.9\ngrade.thickness = 2.4",
    },
    Wall {
        name: "near-walls",
        depth: 260.0,
        sides: [Some([0.25, 0.18]), Some([0.1, 0.3])],
        head: 540.0,
        colours: ["#333c49", "#3d4653"],
        firs: 74.0,
        fog: "preset = \"fog-bank\"\ngrade.thickness = 2.5",
    },
    Wall {
        name: "ledges",
        depth: 0.0,
        sides: [Some([0.1, 0.24]), Some([0.2, 0.12])],
        head: 720.0,
        colours: ["#222833", "#29303b"],
        firs: 120.0,
        fog: "preset = \"fog-bank\"\nfalloff.height = 60\ngrade.thickness = 4",
    },
    Wall {
        name: "frame",
        depth: -150.0,
        sides: [Some([0.05, 0.1]), None],
        head: 60.0,
        colours: ["#14181f", "#171b23"],
        firs: 0.0,
        fog: "fog = false",
    },
];

/// Numbers between 0 and 1, one after the other.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> f64 {
        self.0 += 1;
        seed::uniform(self.0)
    }
}

/// Height of a slot's picture: what comes into view of it.
fn tall(depth: f64) -> f64 {
    (VIEW[1] + DOWN * CAMERA / (CAMERA + depth)).ceil() + 8.0
}

fn svg(height: f64, body: &str) -> String {
    let [width, _] = VIEW;
    format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\">{body}</svg>")
}

fn sky() -> String {
    let height = tall(14_000.0);
    let body = format!(
        "<linearGradient id=\"a\" x2=\"0\" y2=\"1\"><stop stop-color=\"#8fa0b6\"/><stop offset=\".45\" stop-color=\"#cdc9c4\"/><stop offset=\"1\" stop-color=\"#cfcbc6\"/></linearGradient><rect width=\"1080\" height=\"{height}\" fill=\"url(#a)\"/>"
    );
    svg(height, &body)
}

impl Wall {
    /// Its picture.
    fn draw(&self) -> String {
        let height = tall(self.depth);
        let mut body = String::new();
        for (side, reach) in self.sides.iter().enumerate() {
            if let Some(reach) = reach {
                self.side(side == 1, *reach, height, &mut body);
            }
        }
        self.floor(height, &mut body);
        svg(height, &body)
    }

    /// One side: steep faces and ledges by turns, down to the foot.
    fn side(&self, right: bool, [head, foot]: [f64; 2], height: f64, body: &mut String) {
        let mut dice = Dice((self.depth.abs() as u64 + 7) * 1000 + u64::from(right) * 500);
        let place = |x: f64| if right { VIEW[0] - x } else { x };
        let [body_colour, lit] = self.colours;
        // Nearer faces are larger.
        let size = 560.0 * CAMERA / (CAMERA + self.depth);
        let mut edge = vec![[0.0, self.head + size * dice.next()], [0.4 * head * VIEW[0], self.head]];
        let mut y = self.head;
        while y < height {
            let share = ((y - self.head) / (height - self.head)).min(1.0);
            let base = (head + (foot - head) * share) * VIEW[0];
            let x = base + size * 0.28 * (dice.next() - 0.5);
            let face = size * (0.35 + 0.6 * dice.next());
            edge.push([x, y + 0.12 * size * dice.next()]);
            edge.push([x + 0.06 * size * (dice.next() - 0.3), y + face]);
            y += face;
        }
        edge.push([edge[edge.len() - 1][0], height]);
        edge.push([0.0, height]);
        let points = |edge: &[[f64; 2]]| {
            edge.iter().map(|[x, y]| format!("{:.0},{y:.0} ", place(*x))).collect::<String>()
        };
        let _ = write!(body, "<polygon fill=\"{body_colour}\" points=\"{}\"/>", points(&edge));
        for pair in edge[2..edge.len() - 2].chunks_exact(2) {
            let [[x, y], [under, foot]] = [pair[0], pair[1]];
            // The plane that faces the light, a third of the face wide, broken off below.
            let wide = (0.3 + 0.35 * dice.next()) * x.min(size);
            if dice.next() < 0.4 {
                continue;
            }
            let plane = [
                [x, y],
                [under, foot],
                [under - 0.45 * wide, foot - 0.3 * (foot - y)],
                [x - wide, y + 0.08 * size],
            ];
            let _ = write!(body, "<polygon fill=\"{lit}\" points=\"{}\"/>", points(&plane));
            let firs = if self.firs > 0.0 { (1.0 + 3.0 * dice.next()) as u32 } else { 0 };
            for _ in 0..firs {
                let at = x - (0.1 + 0.8 * dice.next()) * wide;
                fir(place(at), y + 0.1 * size, self.firs * (0.6 + 0.7 * dice.next()), body_colour, body);
            }
        }
    }

    /// The floor of the gorge, where the play plane's ends.
    fn floor(&self, height: f64, body: &mut String) {
        let rate = CAMERA / (CAMERA + self.depth);
        let ground = 560.0 + (3640.0 - 560.0) * rate;
        let mut dice = Dice(self.depth.abs() as u64 * 31 + 3);
        if self.depth < 0.0 || ground > height || self.firs == 0.0 {
            return;
        }
        let size = 60.0 * rate;
        let mut points = format!("0,{height} ");
        for step in 0..=12 {
            let _ = write!(points, "{:.0},{:.0} ", 90.0 * f64::from(step), ground - size * dice.next());
        }
        let _ = write!(body, "<polygon fill=\"{}\" points=\"{points}1080,{height}\"/>", self.colours[0]);
        for _ in 0..9 {
            fir(1080.0 * dice.next(), ground, self.firs * (0.8 + 0.9 * dice.next()), self.colours[0], body);
        }
    }
}

/// A fir of three tiers with its foot at (x, y).
fn fir(x: f64, y: f64, height: f64, colour: &str, body: &mut String) {
    let half = 0.2 * height;
    let mut points = format!("{x:.1},{:.1} ", y - height);
    let tiers = [(0.4, 0.5, 0.26), (0.72, 0.8, 0.5), (1.0, 1.0, 1.0)];
    for side in [1.0, -1.0] {
        let mut own: Vec<String> = Vec::new();
        for (wide, down, back) in tiers {
            own.push(format!("{:.1},{:.1} ", x + side * half * wide, y - height * (1.0 - down)));
            own.push(format!(
                "{:.1},{:.1} ",
                x + side * half * wide * (0.45 + 0.2 * back),
                y - height * (1.0 - down)
            ));
        }
        if side < 0.0 {
            own.reverse();
        }
        points += &own.concat();
    }
    let _ = write!(body, "<polygon fill=\"{colour}\" points=\"{points}\"/>");
}

/// Writes the pictures into `folder`; the scene's text with its slots.
fn gorge(folder: &Path) -> std::io::Result<String> {
    let mut text = SCENE.to_owned();
    std::fs::write(folder.join("sky.svg"), sky())?;
    text += "\n[[slot]]\nname = \"sky\"\ndepth = 14000\nart = \"sky.svg\"\ny = 0\nseparation = 0\n";
    for wall in &WALLS {
        let Wall { name, depth, fog, .. } = wall;
        let _ = write!(
            text,
            "\n[[slot]]\nname = \"{name}\"\ndepth = {depth}\nart = \"{name}.svg\"\ny = 0\n{fog}\n"
        );
        std::fs::write(folder.join(format!("{name}.svg")), wall.draw())?;
    }
    Ok(text)
}

/// Frames of the pan from the rim to the floor, side by side.
pub fn draw(root: &Path) -> Result<Canvas> {
    let (limits, store) = (Limits::default(), Store::default());
    let folder = tempfile::tempdir().expect("a folder for the pictures");
    let text = gorge(folder.path()).expect("a folder that can be written");
    let scene = scenes::of_text(root, &folder.path().join("scene.toml"), &text, None, &[])?;
    let pictures = Pictures::open(&scene, &limits)?;
    let scene = &*haze::sampled(&scene, &pictures, &limits)?;
    let plan = Plan::new(scene, &pictures.naturals(), WIDTH / VIEW[0], &limits)?;
    let cameras = plan.cameras();
    let mut stack = Stack::empty(&plan);
    let needed = plan.files.iter().map(|job| Show::All.has(job)).collect();
    Maker::new(&store, &limits)
        .fill(&mut stack, &Request { needed, ..Request::all(&plan, &pictures, &cameras) })?;
    let [width, height] = plan.texels;
    let mut out = Canvas::new([FRAMES * (width + 8) - 8, height + 30], MOUNT);
    for at in 0..FRAMES {
        let down = DOWN * f64::from(at) / f64::from(FRAMES - 1);
        let left = at * (width + 8);
        let frame = stack.shown(Camera::new(0.0, down), Bits::Eight).texels;
        out.lay(&scenes::canvas(frame), [left, 0]);
        out.write(&format!("camera {down:.0} px down"), 18.0, [left + 8, height + 5], LIGHT);
    }
    Ok(out)
}
