//! A guard around the packet decoder, whose code is not ours: a damaged file can make it panic, and must not end us.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}
static QUIET: Once = Once::new();

/// What `decode` gives, or `None` when it panicked. Panics inside are not printed; all others are, as before.
pub(super) fn guarded<T>(decode: impl FnOnce() -> T) -> Option<T> {
    QUIET.call_once(|| {
        let usual = take_hook();
        set_hook(Box::new(move |panic| {
            if !GUARDED.get() {
                usual(panic);
            }
        }));
    });
    let before = GUARDED.replace(true);
    // What a panic may leave half done is the sink's samples, which the caller drops with the error.
    let result = catch_unwind(AssertUnwindSafe(decode)).ok();
    GUARDED.set(before);
    result
}
