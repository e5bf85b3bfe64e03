//! A call that may panic, contained and silent.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// The call's value, or `None` where it panicked. The panic's message is not printed; those of other threads and of
/// other code are, through the hook that was there before.
pub(super) fn quiet<T>(call: impl FnOnce() -> T) -> Option<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |info| {
            if !QUIET.get() {
                before(info);
            }
        }));
    });
    QUIET.set(true);
    let result = catch_unwind(AssertUnwindSafe(call));
    QUIET.set(false);
    result.ok()
}

#[cfg(test)]
mod tests {
    #[test]
    fn panics_are_contained() {
        assert_eq!(super::quiet(|| 7), Some(7));
        assert_eq!(super::quiet(|| -> u8 { panic!("contained") }), None);
        assert_eq!(super::quiet(|| 8), Some(8));
    }
}
