//! Numbers that callers give, checked against their ranges.

use crate::base::fault::{Class, Fault, Faults};
use std::ops::RangeInclusive;

/// Adds a fault where `value`, called `name`, isn't in `range`; NaN is in none.
pub(super) fn check(name: &str, value: f64, range: RangeInclusive<f64>, faults: &mut Faults) {
    if range.contains(&value) {
        return;
    }
    let (least, most) = range.into_inner();
    let fault = Fault::new(Class::Usage, format!("`{name}` is {value}, which is out of range"));
    faults.list.push(fault.remedy(format!("Give a number from {least} to {most}.")));
}

/// Adds what `result` says is wrong; its value otherwise.
pub(super) fn gather<T>(result: Result<T, Faults>, faults: &mut Faults) -> Option<T> {
    match result {
        Ok(value) => Some(value),
        Err(found) => {
            faults.list.extend(found.list);
            faults.sources.extend(found.sources);
            None
        }
    }
}
