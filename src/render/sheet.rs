//! The sheet that a figure is drawn on: its scene, its colours, its measure, and where labels still have room.

use super::font::Weight;
use super::geometry::{Point, Rect, px};
use super::options::{Least, Options};
use super::scene::{Anchor, Pen, Scene, Style};
use super::theme::{Color, Palette};

/// A figure being drawn.
#[derive(Debug)]
pub(super) struct Sheet {
    pub(super) scene: Scene,
    pub(super) palette: &'static Palette,
    unit: f64,
}

/// Sizes of text in units of the layout, from the smallest that reads on paper up.
pub(super) mod em {
    pub(crate) const SMALL: f64 = 13.0;
    pub(crate) const USUAL: f64 = 15.0;
    pub(crate) const LARGE: f64 = 18.0;
    pub(crate) const HEADLINE: f64 = 36.0;
}

impl Sheet {
    /// An empty sheet for a layout that needs at least `least` of its units.
    pub(super) fn new(options: &Options, least: Least) -> Self {
        let palette = options.theme.palette();
        let side = |pixels: u32| i32::try_from(pixels).unwrap_or(i32::MAX);
        let scene = Scene::new(side(options.size.width()), side(options.size.height()), palette.paper);
        Self { scene, palette, unit: options.unit(least) }
    }

    /// The same for a layout whose units are so many times as large.
    pub(super) fn enlarged(self, times: f64) -> Self {
        Self { unit: times * self.unit, ..self }
    }

    /// `units` of the layout in pixels; at least one pixel of anything.
    pub(super) fn u(&self, units: f64) -> i32 {
        px(units * self.unit).max(1)
    }

    pub(super) fn style(&self, em: f64, weight: Weight, color: Color) -> Style {
        Style { em: em * self.unit, weight, color }
    }

    pub(super) fn pen(&self, width: f64, dash: f64, color: Color) -> Pen {
        Pen { width: self.u(width), dash: if dash > 0.0 { self.u(dash) } else { 0 }, color }
    }

    /// Whether an area so wide has no room for words beside what they speak of, as on a phone held upright.
    pub(super) fn is_narrow(&self, width: i32) -> bool {
        /// A note takes some 250 units of the layout.
        const NARROW: f64 = 560.0;
        width < self.u(NARROW)
    }

    /// Units of the layout that a mark takes which is `units` wide on a wide figure. On a narrow one a second is a few units, and
    /// a mark of the full width would hide the very moment that it points at.
    pub(super) fn mark(&self, units: f64) -> f64 {
        const ON_NARROW: f64 = 0.6;
        if self.is_narrow(self.inside().width()) { ON_NARROW * units } else { units }
    }

    /// Whether a figure is so low that its words have to leave room to the traces, as on a small screen.
    pub(super) fn is_low(&self) -> bool {
        /// Head, stages, strips and a foot in full take some 800 units of the layout.
        const LOW: f64 = 800.0;
        self.scene.height < self.u(LOW)
    }

    /// Whether it is so low that the amps have no room for a second strip.
    pub(super) fn is_very_low(&self) -> bool {
        const VERY_LOW: f64 = 720.0;
        self.scene.height < self.u(VERY_LOW)
    }

    /// Whether its words are so small that a part less, with larger words, tells more.
    pub(super) fn is_tiny(&self) -> bool {
        /// Pixels to a unit at which the smallest words are six pixels high, which nobody reads (common practice, no source).
        const TINY: f64 = 0.5;
        self.unit < TINY
    }

    /// The sheet without its margin.
    pub(super) fn inside(&self) -> Rect {
        self.scene.bounds().grown(-self.u(24.0))
    }

    /// Text shortened to `room` pixels; nothing if not even a letter fits.
    pub(super) fn short_text(&mut self, text: &str, at: Point, anchor: Anchor, style: Style, room: i32) {
        if let Some(text) = style.fit(text, room) {
            self.scene.text(text, at, anchor, style);
        }
    }

    /// Text in the middle of `area`, shortened to its width.
    pub(super) fn centered(&mut self, text: &str, area: Rect, style: Style) {
        let (x, y) = area.center();
        self.short_text(text, (x, style.baseline_at(y)), Anchor::Middle, style, area.width() - self.u(6.0));
    }

    /// A small triangle that points down at `tip`.
    pub(super) fn pointer_down(&mut self, (x, y): Point, color: Color) {
        let (half, height) = (self.u(self.mark(7.0)), self.u(self.mark(12.0)));
        let points = vec![(x - half, y - height), (x + half, y - height), (x, y)];
        self.scene.shapes.push(super::scene::Shape::Polygon { points, color });
    }
}
