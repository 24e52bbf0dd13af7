//! A lab supply as a device: dialect, readings, and the guard, the only place that may energise.
