//! Who wants to look at the stack of a run besides.

use crate::stack::Stack;
use std::fmt;
use std::sync::Arc;

/// Looks at a stack.
type Look = dyn Fn(&Stack<'_>) + Send + Sync;

/// Is shown the stack of each run that makes anything, whole, as it is made, its outlines looked at from [`crate::plan::Plan::cameras`]. By
/// default nobody is.
#[derive(Clone, Default)]
pub struct Inspector(Option<Arc<Look>>);

impl Inspector {
    /// One that does `look`.
    pub fn new(look: impl Fn(&Stack<'_>) + Send + Sync + 'static) -> Inspector {
        Inspector(Some(Arc::new(look)))
    }

    /// Whether anybody looks.
    pub(super) fn is_there(&self) -> bool {
        self.0.is_some()
    }

    pub(super) fn look(&self, stack: &Stack<'_>) {
        if let Some(look) = &self.0 {
            look(stack);
        }
    }
}

impl fmt::Debug for Inspector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Inspector({})", self.is_there())
    }
}
