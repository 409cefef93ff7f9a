//! How a pulse rises and falls.

use std::f64::consts::PI;

use serde::Deserialize;

/// Shape of a pulse's edges.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// (1 − cos(πt/T)) / 2 over the edge's length T.
    RaisedCosine,
    /// t/T over the edge's length T.
    Linear,
    /// 1 − e^(−t/T) with the time constant T, and e^(−t/T) down.
    Exponential,
}

/// Both edges of a pulse. What `rise_s` and `fall_s` are for each shape stands
/// with the shape.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Edge {
    /// Shape of both edges.
    pub shape: Shape,
    /// Length or time constant of the rise.
    pub rise_s: f64,
    /// Length or time constant of the fall.
    pub fall_s: f64,
}

impl Default for Edge {
    fn default() -> Self {
        Self { shape: Shape::RaisedCosine, rise_s: 1e-3, fall_s: 1e-3 }
    }
}

impl Edge {
    /// Share of the way up, `s` seconds into the rise.
    pub(super) fn risen(&self, s: f64) -> f64 {
        self.shape.way(s, self.rise_s)
    }

    /// Share of the amplitude that is left, `s` seconds into the fall.
    pub(super) fn left(&self, s: f64) -> f64 {
        1.0 - self.shape.way(s, self.fall_s)
    }

    /// Seconds into the rise at which it has come to the share `y`, 0 < y < 1.
    pub(super) fn rise_to_s(&self, y: f64) -> f64 {
        self.shape.way_inverse(y, self.rise_s)
    }

    /// Seconds into the fall at which the share `y` is left, 0 < y < 1.
    pub(super) fn fall_to_s(&self, y: f64) -> f64 {
        self.shape.way_inverse(1.0 - y, self.fall_s)
    }

    /// Seconds until the rise is over to better than 1e-6.
    pub(super) fn rise_length_s(&self) -> f64 {
        self.rise_s * self.shape.lengths()
    }

    /// Seconds until the fall is over to better than 1e-6.
    pub(super) fn fall_length_s(&self) -> f64 {
        self.fall_s * self.shape.lengths()
    }
}

impl Shape {
    /// How far an edge of length or time constant `t` has come after `s` seconds.
    fn way(self, s: f64, t: f64) -> f64 {
        if s <= 0.0 {
            return 0.0;
        }
        if s >= t * self.lengths() {
            return 1.0;
        }
        match self {
            Self::RaisedCosine => 0.5 - 0.5 * (PI * s / t).cos(),
            Self::Linear => s / t,
            Self::Exponential => 1.0 - (-s / t).exp(),
        }
    }

    fn way_inverse(self, y: f64, t: f64) -> f64 {
        match self {
            Self::RaisedCosine => t * (1.0 - 2.0 * y).acos() / PI,
            Self::Linear => t * y,
            Self::Exponential => -t * (1.0 - y).ln(),
        }
    }

    /// Edge lengths or time constants until the edge is over.
    fn lengths(self) -> f64 {
        match self {
            Self::RaisedCosine | Self::Linear => 1.0,
            Self::Exponential => 14.0, // e^−14 < 1e-6
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_shape_passes_each_share_where_it_says() {
        for shape in [Shape::RaisedCosine, Shape::Linear, Shape::Exponential] {
            let edge = Edge { shape, rise_s: 2e-3, fall_s: 5e-3 };
            for y in [0.01, 0.3, 0.5, 0.9] {
                assert!((edge.risen(edge.rise_to_s(y)) - y).abs() < 1e-12, "{shape:?}");
                assert!((edge.left(edge.fall_to_s(y)) - y).abs() < 1e-12, "{shape:?}");
            }
            assert_eq!(edge.risen(0.0), 0.0);
            assert_eq!(edge.risen(edge.rise_length_s()), 1.0);
            assert!(edge.risen(edge.rise_length_s() * 0.999_999) > 1.0 - 1.1e-6);
            assert_eq!(edge.left(edge.fall_length_s()), 0.0);
        }
    }

    #[test]
    fn an_edge_of_no_length_is_a_step() {
        let edge = Edge { rise_s: 0.0, fall_s: 0.0, ..Edge::default() };
        assert_eq!((edge.risen(0.0), edge.risen(1e-9)), (0.0, 1.0));
        assert_eq!((edge.rise_to_s(0.5), edge.left(1e-9)), (0.0, 0.0));
    }
}
