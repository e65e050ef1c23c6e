//! Texts from elsewhere: where the file and the page were both changed, and what an earlier run left.

use super::Session;

impl Session {
    /// Resolves a conflict. Whichever is chosen, the other is a step back.
    pub fn resolve(&mut self, mine: bool) {
        let Some(theirs) = self.conflict.take() else { return };
        let own = self.history[self.at].clone();
        self.take(theirs);
        if mine {
            self.push(own, None);
            self.reread();
        }
    }

    /// Takes a text over that an earlier run left; the file's is a step back.
    pub fn take_over(&mut self, text: &str) {
        let step = self.recovered(text);
        if step != self.history[self.at] {
            self.push(step, None);
            self.reread();
        }
    }
}
