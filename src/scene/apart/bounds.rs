//! What a reader process may take, held by the system: address space on Linux, processor time wherever `setrlimit` is.

use crate::base::limits::Limits;
use std::sync::atomic::{AtomicU64, Ordering};
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
use std::sync::{Mutex, PoisonError};

/// Bytes of a reader before it reads anything: the stack that drawings are parsed on, and the allocator's own.
const BESIDES: u64 = 320 << 20;

/// What this process has been allowed so far, bytes of address space; 0 in a process that isn't bounded.
static ALLOWED: AtomicU64 = AtomicU64::new(0);

/// Texels that are drawn in a second of processor time at least; measured ten times as many.
const DRAWN: f64 = 1e6;

/// The same of texels that are only unpacked.
const UNPACKED: f64 = 1e7;

/// Processor time for a picture that is drawn at `texels` from one of `own` texels, whole seconds.
pub(super) fn seconds(limits: &Limits, texels: f64, own: f64) -> u64 {
    // Saturates.
    limits.read_seconds.saturating_add((texels / DRAWN + own / UNPACKED).ceil() as u64)
}

/// Holds this process, from now on, to what one request may take.
pub(super) fn hold(limits: &Limits, seconds: u64) {
    let allowed = held().saturating_add(BESIDES).saturating_add(limits.read_memory);
    ALLOWED.store(allowed, Ordering::Relaxed);
    hold_memory(allowed);
    hold_time(seconds);
}

/// Lets a bounded process take so many bytes more, which have been counted and are within the limit on memory.
pub(in crate::scene) fn allow(bytes: u64) {
    let before = ALLOWED.load(Ordering::Relaxed);
    if before > 0 {
        ALLOWED.store(before.saturating_add(bytes), Ordering::Relaxed);
        hold_memory(before.saturating_add(bytes));
    }
}

/// Bytes of address space that this process has.
#[cfg(target_os = "linux")]
fn held() -> u64 {
    let pages = std::fs::read_to_string("/proc/self/statm").ok();
    let pages = pages.and_then(|text| text.split(' ').next()?.parse::<u64>().ok());
    pages.unwrap_or(0).saturating_mul(rustix::param::page_size() as u64)
}

#[cfg(not(target_os = "linux"))]
fn held() -> u64 {
    0
}

/// A system that refuses has less for this process than was asked for: that holds as well.
#[cfg(target_os = "linux")]
fn hold_memory(bytes: u64) {
    soften(rustix::process::Resource::As, bytes);
}

#[cfg(not(target_os = "linux"))]
fn hold_memory(_bytes: u64) {}

/// Sets what a process may raise again itself; never over what it was started with.
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn soften(resource: rustix::process::Resource, most: u64) {
    use rustix::process::{Rlimit, getrlimit, setrlimit};
    use std::collections::BTreeMap;
    static FIRST: Mutex<BTreeMap<u32, Option<u64>>> = Mutex::new(BTreeMap::new());
    let now = getrlimit(resource);
    let mut first = FIRST.lock().unwrap_or_else(PoisonError::into_inner);
    let bound = *first.entry(resource as u32).or_insert(now.current);
    let current = Some(bound.map_or(most, |bound| most.min(bound)));
    let _ = setrlimit(resource, Rlimit { current, maximum: now.maximum });
}

#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn hold_time(seconds: u64) {
    use rustix::process::Resource;
    use rustix::time::{ClockId, clock_gettime};
    let used = clock_gettime(ClockId::ProcessCPUTime).tv_sec as u64;
    soften(Resource::Cpu, used.saturating_add(1).saturating_add(seconds));
    // What is ended for its time leaves no image of its memory behind.
    soften(Resource::Core, 0);
}

#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
fn hold_time(_seconds: u64) {}
