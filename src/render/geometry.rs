//! Whole-pixel geometry.

/// A point in pixels, from the top left.
pub(super) type Point = (i32, i32);

/// A rectangle of pixels; `right` and `bottom` are one past the last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Rect {
    pub(super) left: i32,
    pub(super) top: i32,
    pub(super) right: i32,
    pub(super) bottom: i32,
}

impl Rect {
    pub(super) const fn new(left: i32, top: i32, right: i32, bottom: i32) -> Self {
        Self { left, top, right, bottom }
    }

    pub(super) const fn width(self) -> i32 {
        self.right - self.left
    }

    pub(super) const fn height(self) -> i32 {
        self.bottom - self.top
    }

    pub(super) const fn is_empty(self) -> bool {
        self.right <= self.left || self.bottom <= self.top
    }

    pub(super) const fn center(self) -> Point {
        (i32::midpoint(self.left, self.right), i32::midpoint(self.top, self.bottom))
    }

    /// Wider by `by` pixels to the left and to the right.
    pub(super) const fn wider(self, by: i32) -> Self {
        Self { left: self.left - by, right: self.right + by, ..self }
    }

    /// Wider by `by` pixels on every side.
    pub(super) const fn grown(self, by: i32) -> Self {
        Self::new(self.left - by, self.top - by, self.right + by, self.bottom + by)
    }

    pub(super) const fn overlaps(self, other: Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    /// Whether all of `other` lies within.
    pub(super) const fn holds(self, other: Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && other.right <= self.right
            && other.bottom <= self.bottom
    }

    /// Whether a straight line between two points passes through, seen at some dozens of points along it.
    pub(super) fn is_crossed(self, (from, to): (Point, Point)) -> bool {
        const STEPS: i32 = 64;
        let along = |a: i32, b: i32, step: i32| a + (b - a) * step / STEPS;
        let points = (0..=STEPS).map(|step| (along(from.0, to.0, step), along(from.1, to.1, step)));
        { points }.any(|(x, y)| self.holds(Self::new(x, y, x + 1, y + 1)))
    }

    /// What both have in common; empty where they do not meet.
    pub(super) fn intersection(self, other: Self) -> Self {
        Self::new(
            self.left.max(other.left),
            self.top.max(other.top),
            self.right.min(other.right),
            self.bottom.min(other.bottom),
        )
    }

    /// Splits off the upper `height` pixels: they, and the rest.
    pub(super) const fn split_top(self, height: i32) -> (Self, Self) {
        let at = if height < self.height() { self.top + height } else { self.bottom };
        (Self { bottom: at, ..self }, Self { top: at, ..self })
    }

    /// Splits off the lower `height` pixels: the rest, and they.
    pub(super) const fn split_bottom(self, height: i32) -> (Self, Self) {
        let at = if height < self.height() { self.bottom - height } else { self.top };
        (Self { bottom: at, ..self }, Self { top: at, ..self })
    }
}

/// The nearest whole pixel; what is far outside any figure is kept at a harmless distance.
#[expect(clippy::cast_possible_truncation, reason = "clamped to a range that an i32 holds")]
pub(super) fn px(value: f64) -> i32 {
    const FAR: f64 = 1e6;
    value.round().clamp(-FAR, FAR) as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rectangles_that_only_touch_do_not_overlap() {
        let a = Rect::new(0, 0, 10, 10);
        assert!(!a.overlaps(Rect::new(10, 0, 20, 10)) && a.overlaps(Rect::new(9, 9, 20, 20)));
        assert!(a.holds(Rect::new(0, 0, 10, 10)) && !a.holds(Rect::new(0, 0, 11, 10)));
        assert!(a.intersection(Rect::new(10, 0, 20, 10)).is_empty());
    }

    #[test]
    fn splitting_never_makes_a_negative_height() {
        let (top, rest) = Rect::new(0, 0, 10, 10).split_top(40);
        assert_eq!((top.height(), rest.height()), (10, 0));
    }

    #[test]
    fn far_values_stay_drawable() {
        assert_eq!((px(1.5), px(f64::INFINITY), px(-1e300)), (2, 1_000_000, -1_000_000));
    }
}
