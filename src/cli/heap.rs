//! What the allocator keeps of memory that was freed, for a program that stands for hours; and what becomes of a request for which there
//! is no memory, where nobody counted it before.
//!
//! The first: a need that was measured: over 10,000 random edits the page's server grew by a third, since glibc has a heap for each thread, and each
//! keeps what its thread once held. With one heap that is given back at rest it holds a third less, and grows by a twentieth. Nothing but
//! calls of the C library does that; another allocator (mimalloc, dlmalloc) held more, or grew more.
//!
//! The second: the language ends a program that gets no memory by a signal (exit code 134 in a shell), and lets nothing but the allocator
//! itself say otherwise. An address space held to what a plan said less than half of showed it.

use fogweft::base::fault::Class;
use fogweft::base::room;
use std::alloc::{GlobalAlloc, Layout, System};
use std::io::Write;

/// One heap for all threads that start from now on.
///
/// Of a run, too: each thread's own keeps what one picture or sheet took while the others ask for more. A run of the demo at 1920 x 1080
/// held 142 MB, with one heap 128, in the same time on two cores.
pub fn share() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    #[allow(unsafe_code)]
    // SAFETY: it takes two numbers, and is called while there is one thread.
    unsafe {
        libc::mallopt(libc::M_ARENA_MAX, 1);
    }
}

/// Has what is as large as a picture given back as soon as it is free, and what is smaller kept, for a run that makes one picture after
/// the other.
///
/// Two needs that were measured. The first: glibc keeps ever larger pieces in its heap, up to 32 MB, once some were freed, and a run of the
/// demo at 1920 x 1080 held 390 MB; with this bound 335, in the same time. The second: once that bound is set, glibc gives back all but
/// 128 KB of what is free at a heap's end, and a rim's planes, freed and asked for again, were the system's to clear each time: of the
/// 260,000 pages of a run that changes one slot of the demo, 85,000, and half of the time that the system took. With this bound they stay,
/// for some MB. A page draws the same pictures again and again, and keeps them.
pub fn give_back_pictures() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    #[allow(unsafe_code)]
    // SAFETY: it takes two numbers each, and any thread may call it at any time.
    unsafe {
        libc::mallopt(libc::M_MMAP_THRESHOLD, 4 << 20);
        libc::mallopt(libc::M_TRIM_THRESHOLD, 8 << 20);
    }
}

/// Gives back what is free.
pub fn trim() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    #[allow(unsafe_code)]
    // SAFETY: it takes a number, and any thread may call it at any time.
    unsafe {
        libc::malloc_trim(0);
    }
}

/// The system's allocator; where it has no more, the program ends as for any limit, unless who asks goes on without.
pub struct Told;

#[allow(unsafe_code)]
// SAFETY: every call is handed on to the system's allocator as it came, and what it gives is given back unchanged.
unsafe impl GlobalAlloc for Told {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        told(unsafe { System.alloc(layout) }, layout.size())
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        told(unsafe { System.alloc_zeroed(layout) }, layout.size())
    }

    unsafe fn realloc(&self, old: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        told(unsafe { System.realloc(old, layout, size) }, size)
    }

    unsafe fn dealloc(&self, old: *mut u8, layout: Layout) {
        unsafe { System.dealloc(old, layout) }
    }
}

#[inline(always)]
fn told(given: *mut u8, bytes: usize) -> *mut u8 {
    if given.is_null() && !room::is_asking() {
        end(bytes);
    }
    given
}

/// Says why and ends; asks for no memory.
#[cold]
fn end(bytes: usize) -> ! {
    let _ = writeln!(
        std::io::stderr(),
        "error: the system has no more memory ({bytes} bytes were asked for)\n  help: Render at a smaller scale, or close other programs."
    );
    std::process::exit(i32::from(Class::Limit.exit_code()));
}
