//! The drawing: read as the standard says (SVG 2), by code that shares nothing with the program, it is the still.

use crate::outside::{SCENE, decoded, render, write_scene};

/// The value of an attribute of an element's text.
fn attribute<'a>(element: &'a str, name: &str) -> Option<&'a str> {
    let (_, rest) = element.split_once(&format!(" {name}=\""))?;
    rest.split('"').next()
}

fn number(element: &str, name: &str) -> f64 {
    attribute(element, name).map_or(0.0, |text| text.parse().unwrap())
}

/// RFC 4648, 4.
fn bytes_of_base64(text: &str) -> Vec<u8> {
    let digits = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let sixes =
        text.trim_end_matches('=').bytes().map(|sign| digits.iter().position(|d| *d == sign).unwrap());
    let (mut out, mut held, mut bits) = (Vec::new(), 0_usize, 0);
    for six in sixes {
        (held, bits) = (held << 6 | six, bits + 6);
        if bits >= 8 {
            bits -= 8;
            out.push((held >> bits & 255) as u8);
        }
    }
    out
}

struct Image {
    id: String,
    left: i64,
    top: i64,
    size: [u32; 2],
    texels: Vec<[f64; 4]>,
}

impl Image {
    fn new(element: &str) -> Image {
        let data = attribute(element, "href").unwrap().strip_prefix("data:image/png;base64,").unwrap();
        let (size, texels) = decoded(&bytes_of_base64(data));
        // As large as it is shown: nothing is resampled.
        assert_eq!(size.map(f64::from), ["width", "height"].map(|name| number(element, name)));
        let [left, top] = ["x", "y"].map(|name| number(element, name) as i64);
        Image { id: attribute(element, "id").unwrap().to_owned(), left, top, size, texels }
    }

    /// Source-over, moved by `away` texels to the right.
    fn draw(&self, away: i64, frame: &mut [[f64; 3]], [width, height]: [usize; 2]) {
        let [wide, tall] = self.size.map(i64::from);
        for y in self.top.max(0)..(self.top + tall).min(height as i64) {
            let left = self.left + away;
            for x in left.max(0)..(left + wide).min(width as i64) {
                let over = self.texels[((y - self.top) * wide + x - left) as usize];
                for (under, over_channel) in frame[y as usize * width + x as usize].iter_mut().zip(over) {
                    *under += (over_channel - *under) * over[3];
                }
            }
        }
    }
}

#[test]
fn the_drawing_is_the_still() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let scene = write_scene(folder.path(), SCENE);
    let manifest = render(&scene, &out, &["--also", "svg"]);
    let text = std::fs::read_to_string(out.join("scene.svg")).unwrap();
    assert!(manifest["exports"].as_array().unwrap().iter().any(|form| form["path"] == "scene.svg"));
    let elements: Vec<&str> = text.split('<').skip(1).collect();
    let size = ["width", "height"].map(|name| number(elements[0], name) as usize);
    let backdrop = elements.iter().find(|element| element.starts_with("rect")).unwrap();
    let hex = attribute(backdrop, "fill").unwrap();
    let ground = [1, 3, 5].map(|at| f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0);
    let mut frame = vec![ground; size[0] * size[1]];
    let mut images: Vec<Image> = Vec::new();
    for element in elements {
        if element.starts_with("image") {
            images.push(Image::new(element));
            images.last().unwrap().draw(0, &mut frame, size);
        } else if element.starts_with("use") {
            let id = attribute(element, "href").unwrap().trim_start_matches('#');
            let image = images.iter().find(|image| image.id == id).unwrap();
            image.draw(number(element, "x") as i64, &mut frame, size);
        }
    }
    let names: Vec<&str> = images.iter().map(|image| image.id.as_str()).collect();
    assert_eq!(
        names,
        ["sky.fog", "sky.art", "ridge.fog", "ridge.art", "veil.fog", "hut.fog", "hut.rim", "hut.art"]
    );
    let (_, still) = decoded(&std::fs::read(out.join("still.png")).unwrap());
    let gaps =
        frame.iter().zip(&still).flat_map(|(own, still)| (0..3).map(move |at| (own[at] - still[at]).abs()));
    let gaps: Vec<f64> = gaps.map(|gap| 255.0 * gap).collect();
    let (most, mean) =
        (gaps.iter().copied().fold(0.0, f64::max), gaps.iter().sum::<f64>() / gaps.len() as f64);
    // Sheets of 8 bits, dithered, under a still that is.
    assert!(most < 3.0 && mean < 0.5, "{most} codes, {mean} in the mean");
}
