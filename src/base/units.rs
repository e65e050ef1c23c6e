//! Lengths of two kinds, the scale between them, and the camera's place: each a type, so that none is taken for another.

use std::fmt;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub};

/// A length: sums of its own kind, multiples, and the ratio of two. Written and shown as a plain number.
macro_rules! length {
    ($(#[$about:meta])* $name:ident) => {
        $(#[$about])*
        #[derive(Clone, Copy, Default, PartialEq, PartialOrd)]
        #[cfg_attr(feature = "scene", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
        pub struct $name(pub f64);

        impl $name {
            /// The shorter of two.
            pub fn min(self, other: $name) -> $name {
                $name(self.0.min(other.0))
            }

            /// The longer of two.
            pub fn max(self, other: $name) -> $name {
                $name(self.0.max(other.0))
            }

            /// Held between two bounds, of which the first is the smaller.
            pub fn clamp(self, min: $name, max: $name) -> $name {
                $name(self.0.clamp(min.0, max.0))
            }
        }

        plain!($name);

        impl Add for $name {
            type Output = $name;
            fn add(self, other: $name) -> $name {
                $name(self.0 + other.0)
            }
        }

        impl AddAssign for $name {
            fn add_assign(&mut self, other: $name) {
                self.0 += other.0;
            }
        }

        impl Sub for $name {
            type Output = $name;
            fn sub(self, other: $name) -> $name {
                $name(self.0 - other.0)
            }
        }

        impl Neg for $name {
            type Output = $name;
            fn neg(self) -> $name {
                $name(-self.0)
            }
        }

        impl Mul<f64> for $name {
            type Output = $name;
            fn mul(self, factor: f64) -> $name {
                $name(self.0 * factor)
            }
        }

        impl Mul<$name> for f64 {
            type Output = $name;
            fn mul(self, length: $name) -> $name {
                $name(self * length.0)
            }
        }

        impl Div<f64> for $name {
            type Output = $name;
            fn div(self, divisor: f64) -> $name {
                $name(self.0 / divisor)
            }
        }

        impl Div for $name {
            type Output = f64;
            fn div(self, other: $name) -> f64 {
                self.0 / other.0
            }
        }
    };
}

/// Shown as the number in it.
macro_rules! plain {
    ($name:ident) => {
        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Debug::fmt(&self.0, f)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)
            }
        }
    };
}

length!(
    /// A length in scene px: what files give.
    Px
);
length!(
    /// A length in texels of a picture or of the view.
    Texel
);

/// Texels for each scene px.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
#[cfg_attr(feature = "scene", derive(serde::Serialize), serde(transparent))]
pub struct Scale(pub f64);
plain!(Scale);

impl Mul<Scale> for Px {
    type Output = Texel;
    fn mul(self, scale: Scale) -> Texel {
        Texel(self.0 * scale.0)
    }
}

impl Div<Scale> for Texel {
    type Output = Px;
    fn div(self, scale: Scale) -> Px {
        Px(self.0 / scale.0)
    }
}

impl Mul<Scale> for f64 {
    type Output = Scale;
    fn mul(self, scale: Scale) -> Scale {
        Scale(self * scale.0)
    }
}

/// Two lengths along the travel, to the right and down: written as an array of two, read from one or from the first alone.
macro_rules! pair {
    ($(#[$about:meta])* $name:ident) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, Default, PartialEq)]
        #[cfg_attr(feature = "scene", derive(serde::Serialize, serde::Deserialize), serde(from = "OneOrTwo", into = "[f64; 2]"))]
        #[non_exhaustive]
        pub struct $name {
            /// To the right.
            pub right: Px,
            /// Down.
            pub down: Px,
        }

        impl $name {
            /// Of its two numbers.
            pub fn new(right: f64, down: f64) -> $name {
                $name { right: Px(right), down: Px(down) }
            }
        }

        impl From<OneOrTwo> for $name {
            fn from(given: OneOrTwo) -> $name {
                match given {
                    OneOrTwo::One(right) => $name::new(right, 0.0),
                    OneOrTwo::Two([right, down]) => $name::new(right, down),
                }
            }
        }

        impl From<[f64; 2]> for $name {
            fn from([right, down]: [f64; 2]) -> $name {
                $name::new(right, down)
            }
        }

        impl From<$name> for [f64; 2] {
            fn from(pair: $name) -> [f64; 2] {
                [pair.right.0, pair.down.0]
            }
        }

        impl fmt::Display for $name {
            /// As arguments have it: the second only where it isn't 0.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}", self.right)?;
                if self.down == Px(0.0) { Ok(()) } else { write!(f, ",{}", self.down) }
            }
        }
    };
}

/// A number, or two.
#[cfg_attr(feature = "scene", derive(serde::Deserialize), serde(untagged))]
enum OneOrTwo {
    One(f64),
    Two([f64; 2]),
}

pair!(
    /// The camera's place: how far it has panned along the travel.
    Camera
);
pair!(
    /// How far the camera pans on the play plane.
    Travel
);

impl Travel {
    /// Whether the camera stands still.
    pub fn is_none(self) -> bool {
        self.right <= Px(0.0) && self.down <= Px(0.0)
    }

    /// The camera's place at these shares of both ways.
    pub fn at(self, [right, down]: [f64; 2]) -> Camera {
        Camera { right: self.right * right, down: self.down * down }
    }

    /// The camera's place half way along both.
    pub fn middle(self) -> Camera {
        self.at([0.5; 2])
    }
}

impl Camera {
    /// Where what stands at `x` at the start of the travel, and pans at `rate`, stands in the view from here.
    pub fn left(self, x: Px, rate: f64) -> Px {
        x - self.right * rate
    }

    /// The same of what stands at the height `y`.
    pub fn top(self, y: Px, rate: f64) -> Px {
        y - self.down * rate
    }

    /// The place on the travel that is nearest to this one.
    pub fn within(self, travel: Travel) -> Camera {
        let Camera { right, down } = self;
        Camera { right: right.clamp(Px(0.0), travel.right), down: down.clamp(Px(0.0), travel.down) }
    }
}

/// Where a picture stands, scene px with the camera at the start of the travel; written as an array of four.
#[derive(Clone, Copy, Default, PartialEq)]
#[cfg_attr(
    feature = "scene",
    derive(serde::Serialize, serde::Deserialize),
    serde(from = "[f64; 4]", into = "[f64; 4]")
)]
#[non_exhaustive]
pub struct Rect {
    /// Left edge.
    pub x: Px,
    /// Top edge.
    pub y: Px,
    /// Width.
    pub width: Px,
    /// Height.
    pub height: Px,
}

impl From<[f64; 4]> for Rect {
    fn from(sides: [f64; 4]) -> Rect {
        let [x, y, width, height] = sides.map(Px);
        Rect { x, y, width, height }
    }
}

impl From<Rect> for [f64; 4] {
    fn from(rect: Rect) -> [f64; 4] {
        [rect.x, rect.y, rect.width, rect.height].map(|side| side.0)
    }
}

impl fmt::Debug for Rect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&<[f64; 4]>::from(*self), f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_written_as_plain_numbers() {
        let rect = Rect::from([-1.5, 0.0, 3.0, 4.0]);
        assert_eq!(serde_json::to_string(&rect).expect("JSON"), "[-1.5,0.0,3.0,4.0]");
        assert_eq!(format!("{rect:?} {:?} {}", Px(2.0), Texel(2.0)), "[-1.5, 0.0, 3.0, 4.0] 2.0 2");
        assert_eq!(serde_json::from_str::<Camera>("12.5").expect("a number"), Camera::new(12.5, 0.0));
        assert_eq!(serde_json::from_str::<Camera>("[12.5, 3]").expect("a pair"), Camera::new(12.5, 3.0));
        assert_eq!(serde_json::to_string(&Travel::new(12.5, 0.0)).expect("JSON"), "[12.5,0.0]");
        assert_eq!(format!("{} {}", Camera::new(12.5, 0.0), Camera::new(1.0, 2.0)), "12.5 1,2");
    }

    #[test]
    fn the_scale_turns_scene_px_into_texels_and_back() {
        assert_eq!(Px(3.0) * Scale(0.5), Texel(1.5));
        assert_eq!(Texel(1.5) / Scale(0.5), Px(3.0));
        let camera = Camera::new(100.0, 10.0);
        assert_eq!([camera.left(Px(30.0), 0.5), camera.top(Px(30.0), 0.5)], [Px(-20.0), Px(25.0)]);
    }
}
