//! How a station is walked: in lanes, to and fro.

use serde::Serialize;

use super::snow::Laid;

/// Which way lanes run, and where the walk begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// Along the fall line, the first lane, that farthest west, upward.
    Up,
    /// The same, the first lane downward.
    Down,
    /// Along the contour lines, the lowest lane first, from west to east.
    Across,
}

/// A walk in lanes.
#[derive(Clone, Debug, PartialEq)]
pub struct Lanes {
    /// The middle line of each lane from where it is begun to where it ends, in the
    /// order walked. From the end of one a person goes straight to the beginning of the
    /// next.
    pub legs: Vec<[Laid; 2]>,
}

/// Lanes of one width, `width_m` at most, through the convex area of `corners` (in turn
/// round it), the outer ones half as much from its edges, `downhill` being the unit vector down the slope. An area
/// narrower than a lane is walked through its middle.
pub fn lanes(corners: &[Laid], downhill: Laid, width_m: f64, way: Way) -> Lanes {
    let [down_u, down_v] = downhill;
    let along = if way == Way::Across { eastward([-down_v, down_u]) } else { downhill };
    let across = match way {
        Way::Across => [-down_u, -down_v],
        Way::Up | Way::Down => eastward([-down_v, down_u]),
    };
    let ordinates = corners.iter().map(|c| dot(*c, across));
    let low = ordinates.clone().fold(f64::INFINITY, f64::min);
    let high = ordinates.fold(f64::NEG_INFINITY, f64::max);
    // A corner's rounding makes no lane.
    let count = ((high - low) / width_m - 1e-6).ceil().max(1.0) as usize;
    // Whole lanes that fill the area: a strip left over would not be searched.
    let each_m = (high - low) / count as f64;
    let legs = (0..count).filter_map(|lane| {
        let ordinate = low + (lane as f64 + 0.5) * each_m;
        let [from, to] = cut(corners, along, across, ordinate)?;
        let backward = (lane % 2 == 1) != (way == Way::Up);
        Some(if backward { [to, from] } else { [from, to] })
    });
    Lanes { legs: legs.collect() }
}

impl Lanes {
    /// Corners of the whole walk.
    pub fn corners(&self) -> Vec<Laid> {
        self.legs.iter().flatten().copied().collect()
    }
}

fn dot(a: Laid, b: Laid) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// That one of the two directions along a line which has east in it.
fn eastward([u, v]: Laid) -> Laid {
    if u < -1e-12 || (u.abs() <= 1e-12 && v < 0.0) { [-u, -v] } else { [u, v] }
}

/// The part inside the area of the line across · p = ordinate, in the order of `along`.
fn cut(corners: &[Laid], along: Laid, across: Laid, ordinate: f64) -> Option<[Laid; 2]> {
    let side = |i: usize| (corners[i], corners[(i + 1) % corners.len()]);
    let crossings = (0..corners.len()).filter_map(|i| {
        let (a, b) = side(i);
        let (from, to) = (dot(a, across) - ordinate, dot(b, across) - ordinate);
        ((from < 0.0) != (to < 0.0)).then(|| {
            let share = from / (from - to);
            [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
        })
    });
    let mut ends: Vec<Laid> = crossings.collect();
    ends.sort_by(|a, b| dot(*a, along).total_cmp(&dot(*b, along)));
    match ends[..] {
        [from, to] => Some([from, to]),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIELD: [Laid; 4] = [[0.0, 0.0], [60.0, 0.0], [60.0, 40.0], [0.0, 40.0]];

    fn close(a: Laid, b: Laid) -> bool {
        (a[0] - b[0]).abs() < 1e-9 && (a[1] - b[1]).abs() < 1e-9
    }

    /// Down is south: three lanes of 20 m side by side, to and fro.
    #[test]
    fn lanes_run_to_and_fro_half_a_width_from_the_edges() {
        let up = lanes(&FIELD, [0.0, -1.0], 20.0, Way::Up).legs;
        let expected =
            [[[10.0, 0.0], [10.0, 40.0]], [[30.0, 40.0], [30.0, 0.0]], [[50.0, 0.0], [50.0, 40.0]]];
        assert_eq!(up.len(), 3);
        assert!((0..3).all(|i| (0..2).all(|k| close(up[i][k], expected[i][k]))), "{up:?}");
        let down = lanes(&FIELD, [0.0, -1.0], 20.0, Way::Down).legs;
        assert!(close(down[0][0], [10.0, 40.0]) && close(down[1][0], [30.0, 0.0]));
        let across = lanes(&FIELD, [0.0, -1.0], 20.0, Way::Across).legs;
        assert!(close(across[0][0], [0.0, 10.0]) && close(across[0][1], [60.0, 10.0]));
        assert!(close(across[1][0], [60.0, 30.0]) && across.len() == 2);
    }

    #[test]
    fn a_fall_line_at_an_angle_is_followed_to_the_edges() {
        let down = [0.6, -0.8];
        for way in [Way::Up, Way::Across] {
            let legs = lanes(&FIELD, down, 7.0, way).legs;
            assert!(legs.len() > 5);
            for [from, to] in &legs {
                let run = [to[0] - from[0], to[1] - from[1]];
                let level = run[0] * down[0] + run[1] * down[1];
                let steep = run[0] * down[1] - run[1] * down[0];
                let off = if way == Way::Across { level } else { steep };
                assert!(off.abs() < 1e-9, "{from:?} {to:?}");
                for [x, y] in [from, to] {
                    let edge = x.abs().min((x - 60.0).abs()).min(y.abs()).min((y - 40.0).abs());
                    assert!(edge < 1e-9, "ends at {x}, {y}");
                }
            }
        }
    }

    #[test]
    fn lanes_are_no_wider_than_asked() {
        let [down_u, down_v]: Laid = [0.6, -0.8];
        for width_m in [7.0, 13.0, 20.0, 28.0, 41.0, 79.0] {
            for (way, across) in [(Way::Up, [-down_v, down_u]), (Way::Across, [-down_u, -down_v])] {
                let legs = lanes(&FIELD, [down_u, down_v], width_m, way).legs;
                let ordinates: Vec<f64> = legs.iter().map(|[from, _]| dot(*from, across)).collect();
                let apart = ordinates.windows(2).map(|pair| (pair[1] - pair[0]).abs());
                assert!(apart.fold(0.0, f64::max) < width_m + 1e-3, "{width_m} {ordinates:?}");
                let edge = FIELD.iter().map(|c| dot(*c, across)).fold(f64::INFINITY, f64::min);
                assert!((ordinates[0] - edge).abs() < width_m / 2.0 + 1e-3, "{width_m}");
            }
        }
    }

    #[test]
    fn a_narrow_field_has_one_lane_through_its_middle() {
        let legs = lanes(&FIELD, [0.0, -1.0], 500.0, Way::Down).legs;
        assert_eq!(legs.len(), 1);
        assert!(close(legs[0][0], [30.0, 40.0]) && close(legs[0][1], [30.0, 0.0]));
    }
}
