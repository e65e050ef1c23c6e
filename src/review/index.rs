//! One page that shows several rendered scenes, in all their moods.

use crate::review::head::head;

/// A rendered scene.
pub struct World {
    /// Its name, and that of its folder beside the page.
    pub name: &'static str,
    /// Name of the folder of its outputs, in its own.
    pub sheets: String,
    /// Its moods.
    pub moods: Vec<String>,
}

const HEADING: &str = "<h1>Scenes and their moods</h1>
<p>Each picture opens a page with the scene's layers, on which the camera pans.</p>
";

/// The page's HTML. Paths are relative to the folder in which the scenes' folders are.
pub fn page(worlds: &[World]) -> String {
    let mut text = head("fogweft: scenes", "") + HEADING;
    for world in worlds {
        text += &format!("<h2>{}</h2>\n<section>\n", world.name.replace('-', " "));
        text += &figure(&format!("{}/{}", world.name, world.sheets), "as it is");
        for mood in &world.moods {
            text += &figure(&format!("{}/{}/mood-{mood}", world.name, world.sheets), &mood.replace('-', " "));
        }
        text += "</section>\n";
    }
    text + "</html>\n"
}

fn figure(folder: &str, mood: &str) -> String {
    format!(
        "<figure><a href=\"{folder}/preview.html\"><img src=\"{folder}/still.png\" width=\"1920\" height=\"1080\" \
         loading=\"lazy\" alt=\"\">{mood}</a>, <a href=\"{folder}/strip.png\">from end to end</a></figure>\n"
    )
}
