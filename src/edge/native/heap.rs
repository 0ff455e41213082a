//! Memory that was needed to load models and is free again, given back to the system.
//!
//! A model is read, built and packed in pieces of many megabytes. The C library keeps what is freed of them, in between what
//! is still in use and at the end of each thread's own part, 80 to 120 MB in a flight, unless it is told otherwise.

#[cfg(all(target_os = "linux", target_env = "gnu"))]
mod glibc {
    use std::ffi::c_int;

    /// What may stay free at the end of a part, bytes. One utterance's arithmetic fits.
    const KEEP: c_int = 16 << 20;
    /// From this size on a piece is the system's own and goes back when it is freed. The most that is allowed: smaller pieces
    /// would cost the system a clean page at every step of the arithmetic.
    const OWN: c_int = 32 << 20;

    /// Limits what is kept from now on: the C library raises both numbers by itself with every large piece freed. To be
    /// called before the first model is loaded.
    #[expect(unsafe_code, reason = "a call of the C library without pointers, which any thread may make at any time")]
    pub fn keep_little() {
        // SAFETY: mallopt(3) takes two numbers and sets a limit of the allocator under its own lock.
        unsafe {
            libc::mallopt(libc::M_TRIM_THRESHOLD, KEEP);
            libc::mallopt(libc::M_MMAP_THRESHOLD, OWN);
        }
    }

    /// Gives back what is free in between. Takes some milliseconds; for the end of loading, not for a moment in which
    /// somebody waits.
    #[expect(unsafe_code, reason = "a call of the C library without pointers, which any thread may make at any time")]
    pub fn give_back() {
        // SAFETY: malloc_trim(3) takes a number of bytes to keep at the top and touches free memory only; it is MT-Safe.
        unsafe { libc::malloc_trim(0) };
    }
}

#[cfg(all(target_os = "linux", target_env = "gnu"))]
pub use glibc::{give_back, keep_little};

/// Other systems' allocators do it by themselves.
#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
mod other {
    /// Nothing to do.
    pub fn keep_little() {}

    /// Nothing to do.
    pub fn give_back() {}
}

#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
pub use other::{give_back, keep_little};
