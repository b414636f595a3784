//! How far a long command is, as a bar on a terminal; elsewhere nothing.
//! Never in here: what the command does.

use crate::store::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar on standard error; nothing is drawn where that is no terminal, and it goes with the value.
#[derive(Debug)]
pub struct Meter {
    bar: ProgressBar,
    doing: &'static str,
}

impl Meter {
    /// Not drawn until something is shown.
    pub fn new() -> Self {
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr());
        Self { bar, doing: "" }
    }

    /// Shows how far the work is; without a known end only that it goes on.
    pub fn show(&mut self, progress: Progress) {
        if self.doing != progress.doing {
            self.doing = progress.doing;
            let style = if progress.all > 0 {
                ProgressStyle::with_template("{msg} {wide_bar} {percent} %, {eta} left")
            } else {
                ProgressStyle::with_template("{msg} {spinner}")
            };
            self.bar.set_style(style.expect("both templates are right"));
            self.bar.set_message(progress.doing);
        }
        self.bar.set_length(progress.all);
        self.bar.set_position(progress.done);
    }

    /// Prints a line without tearing the bar.
    pub fn aside<T>(&self, print: impl FnOnce() -> T) -> T {
        self.bar.suspend(print)
    }
}

impl Default for Meter {
    fn default() -> Self {
        Self::new()
    }
}

impl Drop for Meter {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_of_showing_have_right_templates() {
        let mut meter = Meter::new();
        let mut show = |doing, done, all| meter.show(Progress { doing, done, all });
        show("reading", 1, 0);
        show("copying", 1, 2);
        show("copying", 2, 2);
        assert_eq!((meter.bar.position(), meter.bar.length()), (2, Some(2)));
    }
}
