//! A unit to show a class: its field lines in section and plan, what a receiver walked
//! over it reads, and where that is strongest.
//!
//! The walk follows the antenna's line on the plane of the coils, `depth` above the unit.
//! A dipole's field in the near zone has no scale of its own: everything is computed once
//! in depths and stretched. Right above the unit is 0; the antenna's heading is
//! the first coordinate of both sections, so that the upright one holds the antenna.
//!
//! Where a dipole lies askew, the strongest point of a walk is off by up to a quarter
//! of the depth for a receiver of three axes and by up to half for one of one or two
//! (D. Ayuso, J. A. Cuchí, F. Lera, J. L. Villarroel, Cold Regions Science and
//! Technology 111 (2015) 80–94).

use nalgebra::Vector3;
use serde::Serialize;

use crate::field::dipole::static_coupling;
use crate::field::lines::{Frame, Plane, lines};
use crate::locate::section::dipole_lines;
use crate::locate::{Location, Measured, PlacedReading};

/// Depth that lines are traced at, m; their steps suit it.
const TRACED_M: f64 = 1.5;
/// Half the width of the sections, and how far the upright one goes down and up, depths.
const HALF: f64 = 2.4;
const DOWN: f64 = 1.5;
const UP: f64 = 0.7;
/// Lines over the width of the level section.
const ACROSS: f64 = 22.0;
/// Every so many points of a traced line are drawn.
const UPRIGHT_STRIDE: usize = 5;
const LEVEL_STRIDE: usize = 2;
/// Places of the walk to each side.
const STEPS: i32 = 120;
/// Readings as far from the upright section as this are shown in it, depths.
const BESIDE: f64 = 0.35;

/// How a unit lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lie {
    /// Below the plane of the coils, m.
    pub depth_m: f64,
    /// Of its antenna: 0° lies flat, 90° stands upright.
    pub tilt_deg: f64,
}

/// Readings around a unit, to be shown over its computed field.
#[derive(Clone, Debug, PartialEq)]
pub struct Surveyed {
    /// The readings.
    pub readings: Vec<PlacedReading>,
    /// The point on the plane of the coils right above the unit, m.
    pub above_m: [f64; 3],
    /// Where the antenna's line points on the plan, degrees from x to y.
    pub heading_deg: f64,
}

impl Surveyed {
    /// Readings around the unit that was found in them, and how that lies.
    pub fn of(readings: Vec<PlacedReading>, location: &Location) -> (Self, Lie) {
        let position = location.position_m.map(|r| r.value);
        let moment = Vector3::from(location.moment_a_m2.map(|r| r.value));
        // The end of the antenna that points up, or ahead where it lies flat.
        let moment = if moment.z < 0.0 { -moment } else { moment };
        let height_m = location.coil_plane.height_m(position[0], position[1]);
        let lie = Lie {
            depth_m: height_m - position[2],
            tilt_deg: moment.z.atan2(moment.xy().norm()).to_degrees(),
        };
        let above_m = [position[0], position[1], height_m];
        let heading_deg = moment.y.atan2(moment.x).to_degrees();
        (Self { readings, above_m, heading_deg }, lie)
    }
}

/// What there is to see.
#[derive(Clone, Debug, Serialize)]
pub struct Lesson {
    /// Section through unit and antenna: metres along its heading, and above the plane of
    /// the coils.
    pub upright: Section,
    /// Plan at the height of the coils: metres along the heading, and to its left.
    pub level: Section,
    /// What is read on the way.
    pub walk: Walk,
    /// Where a receiver of three axes finds the strongest point, m from right above.
    pub strongest_m: f64,
    /// The same of one that takes the level components alone.
    pub strongest_level_m: f64,
    /// By what the measured vectors are off the computed field, degrees, in the mean
    /// square; of the readings that have a direction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub off_deg: Option<f64>,
}

/// A section.
#[derive(Clone, Debug, Serialize)]
pub struct Section {
    /// Least of both coordinates, m.
    pub low_m: Plane,
    /// Greatest of both, m.
    pub high_m: Plane,
    /// Field lines, each as x, y, x, y, … in thousandths of the depth: as smooth for a
    /// shallow unit as for a deep one.
    pub lines_depth_e3: Vec<Vec<i32>>,
    /// Measured vectors.
    pub needles: Vec<Needle>,
}

/// A measured vector in a section.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Needle {
    /// Where, m.
    pub at_m: Plane,
    /// Its part in the section over its magnitude, up to its sign.
    pub part: Plane,
}

/// What is read on a walk along the antenna's line.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Walk {
    /// From right above the unit, m.
    pub along_m: Vec<f64>,
    /// Magnitude over all directions, as a share of the greatest.
    pub all: Vec<f64>,
    /// That of the level components on the same scale.
    pub level: Vec<f64>,
}

/// What a class sees of a unit that lies so, with what was read around it.
pub fn lesson(lie: Lie, surveyed: Option<&Surveyed>) -> Lesson {
    let field = Field::of(lie);
    let walk = field.walk(lie.depth_m);
    let (upright, level) = field.sections(lie.depth_m);
    let mut lesson = Lesson {
        upright,
        level,
        walk,
        strongest_m: lie.depth_m * strongest(|s| field.at([s, 0.0, 0.0]).norm()),
        strongest_level_m: lie.depth_m * strongest(|s| field.at([s, 0.0, 0.0]).xy().norm()),
        off_deg: None,
    };
    if let Some(surveyed) = surveyed {
        lesson.show(surveyed, &field, lie.depth_m);
    }
    lesson
}

/// The field of a unit a depth of 1 below the origin, with its antenna in the plane of
/// x and z.
struct Field {
    moment: Vector3<f64>,
}

impl Field {
    fn of(lie: Lie) -> Self {
        let (sin, cos) = lie.tilt_deg.to_radians().sin_cos();
        Self { moment: Vector3::new(cos, 0.0, sin) }
    }

    /// At a place in depths from the point right above.
    fn at(&self, [x, y, z]: [f64; 3]) -> Vector3<f64> {
        static_coupling([x, y, z + 1.0]) * self.moment
    }

    fn walk(&self, depth_m: f64) -> Walk {
        let along: Vec<f64> =
            (-STEPS..=STEPS).map(|k| HALF * f64::from(k) / f64::from(STEPS)).collect();
        let fields: Vec<_> = along.iter().map(|s| self.at([*s, 0.0, 0.0])).collect();
        let most = fields.iter().map(Vector3::norm).fold(f64::MIN_POSITIVE, f64::max);
        Walk {
            along_m: along.iter().map(|s| s * depth_m).collect(),
            all: fields.iter().map(|h| h.norm() / most).collect(),
            level: fields.iter().map(|h| h.xy().norm() / most).collect(),
        }
    }

    fn sections(&self, depth_m: f64) -> (Section, Section) {
        let square = |half: f64| Frame { low: [-half; 2], high: [half; 2] };
        let half = HALF * TRACED_M;
        let upright = dipole_lines(
            |[s, z]| {
                let h = self.at([s / TRACED_M, 0.0, z / TRACED_M]);
                [h.x, h.z]
            },
            square(1.3 * half),
            [0.0, -TRACED_M],
            [self.moment.x, self.moment.z],
        );
        let level = lines(
            |[x, y]| {
                let h = self.at([x / TRACED_M, y / TRACED_M, 0.0]);
                [h.x, h.y]
            },
            square(half),
            2.0 * half / ACROSS,
        );
        let section = |lines: &[Vec<Plane>], stride, low: Plane, high: Plane| Section {
            low_m: low.map(|c| c * depth_m),
            high_m: high.map(|c| c * depth_m),
            lines_depth_e3: lines.iter().map(|line| in_depths(line, stride)).collect(),
            needles: Vec::new(),
        };
        (
            section(&upright, UPRIGHT_STRIDE, [-HALF, -DOWN], [HALF, UP]),
            section(&level, LEVEL_STRIDE, [-HALF; 2], [HALF; 2]),
        )
    }
}

/// Some points of a line, its ends among them.
fn in_depths(line: &[Plane], stride: usize) -> Vec<i32> {
    let last = line.len().saturating_sub(1);
    let drawn = (0..line.len()).filter(|i| i % stride == 0 || *i == last);
    drawn.flat_map(|i| line[i].map(|c| (1000.0 * c / TRACED_M).round() as i32)).collect()
}

/// Where on the walk `strength` is greatest, depths, to a thousandth; of two as great the
/// one ahead.
fn strongest(strength: impl Fn(f64) -> f64) -> f64 {
    let (mut best, mut half) = (0.0, 1.5);
    while half > 5e-4 {
        let around = (-30..=30).map(|k| best + half * f64::from(k) / 30.0);
        let valued = around.map(|s| (strength(s), s));
        best = valued.fold((f64::MIN, 0.0), |a, b| if b.0 >= a.0 { b } else { a }).1;
        half /= 15.0;
    }
    best
}

impl Lesson {
    fn show(&mut self, surveyed: &Surveyed, field: &Field, depth_m: f64) {
        let (sin, cos) = surveyed.heading_deg.to_radians().sin_cos();
        let turned =
            |v: Vector3<f64>| Vector3::new(cos * v.x + sin * v.y, cos * v.y - sin * v.x, v.z);
        let mut squares = Vec::new();
        for reading in &surveyed.readings {
            let Measured::Vector(h) = reading.field else { continue };
            let at = turned(Vector3::from(reading.place_m) - Vector3::from(surveyed.above_m));
            let part = turned(Vector3::from(h)).normalize();
            self.level.needles.push(Needle { at_m: [at.x, at.y], part: [part.x, part.y] });
            if at.y.abs() <= BESIDE * depth_m {
                self.upright.needles.push(Needle { at_m: [at.x, at.z], part: [part.x, part.z] });
            }
            let computed = field.at((at / depth_m).into()).normalize();
            squares.push(part.dot(&computed).abs().min(1.0).acos().to_degrees().powi(2));
        }
        let mean = squares.iter().sum::<f64>() / squares.len() as f64;
        self.off_deg = mean.is_finite().then_some(mean.sqrt());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strongest_at(tilt_deg: f64) -> (f64, f64) {
        let lesson = lesson(Lie { depth_m: 2.0, tilt_deg }, None);
        (lesson.strongest_m / 2.0, lesson.strongest_level_m / 2.0)
    }

    /// Ayuso et al. 2015, as above: at most 25 % of the depth for three axes; half for the
    /// level components of an upright dipole, which are strongest on a ring there.
    #[test]
    fn the_strongest_point_wanders_as_far_as_is_published() {
        let all = (0..=90).step_by(5).map(|tilt| strongest_at(f64::from(tilt)).0.abs());
        let farthest = all.fold(0.0, f64::max);
        assert!((0.24..0.255).contains(&farthest), "{farthest}");
        assert!(strongest_at(0.0).0.abs() < 1e-3 && strongest_at(90.0).0.abs() < 1e-3);
        assert!((strongest_at(90.0).1.abs() - 0.5).abs() < 2e-3, "{}", strongest_at(90.0).1);
    }

    #[test]
    fn lines_scale_with_the_depth_and_stay_small() {
        let shown = |depth_m| lesson(Lie { depth_m, tilt_deg: 30.0 }, None);
        let (one, two) = (shown(1.0), shown(2.0));
        assert_eq!(one.upright.lines_depth_e3, two.upright.lines_depth_e3);
        assert_eq!(two.upright.high_m, one.upright.high_m.map(|c| 2.0 * c));
        let numbers = |s: &Section| s.lines_depth_e3.iter().map(Vec::len).sum::<usize>();
        let count = numbers(&one.upright) + numbers(&one.level);
        assert!((2000..40_000).contains(&count), "{count}");
        assert_eq!(one.walk.all.len(), one.walk.along_m.len());
    }

    /// Away from the unit a line turns by a few degrees from one drawn point to the next,
    /// as the field does.
    #[test]
    fn lines_of_a_shallow_unit_are_smooth() {
        let section = lesson(Lie { depth_m: 0.3, tilt_deg: 30.0 }, None).upright;
        for line in &section.lines_depth_e3 {
            let points: Vec<[f64; 2]> = line
                .chunks(2)
                .map(|c| [0, 1].map(|i| 0.3 * f64::from(c[i]) / 1000.0))
                .filter(|[x, z]| x.hypot(z + 0.3) > 0.3)
                .collect();
            for three in points.windows(3) {
                let part = |a: [f64; 2], b: [f64; 2]| [b[0] - a[0], b[1] - a[1]];
                let (first, second) = (part(three[0], three[1]), part(three[1], three[2]));
                // Where a line left the unit's surroundings and came back.
                if [first, second].iter().any(|p| p[0].hypot(p[1]) > 0.05) {
                    continue;
                }
                let turn = (first[0] * second[1] - first[1] * second[0])
                    .atan2(first[0] * second[0] + first[1] * second[1]);
                assert!(turn.to_degrees().abs() < 12.0, "{three:?}");
            }
        }
    }

    #[test]
    fn a_unit_that_was_located_lies_on_its_readings() {
        let readings = crate::locate::testing::readings(&Default::default());
        let location = crate::locate::analyse(&readings, &Default::default()).unwrap();
        let count = readings.len();
        let (surveyed, lie) = Surveyed::of(readings, &location);
        let shown = lesson(lie, Some(&surveyed));
        assert_eq!(shown.level.needles.len(), count);
        // What is left is noise.
        assert!(shown.off_deg.unwrap() < 3.0, "{:?}", shown.off_deg);
        let other = lesson(Lie { depth_m: 2.0 * lie.depth_m, ..lie }, Some(&surveyed));
        assert!(other.off_deg.unwrap() > 10.0, "{:?}", other.off_deg);
    }

    #[test]
    fn vectors_of_the_same_unit_lie_on_its_lines_and_others_do_not() {
        let lie = Lie { depth_m: 1.5, tilt_deg: 40.0 };
        let field = Field::of(lie);
        // A unit below (3, 4, 1) whose antenna points along y.
        let readings = (-4..=4).flat_map(|i| (-4..=4).map(move |j| (f64::from(i), f64::from(j))));
        let readings = readings.map(|(along, left)| {
            let h = field.at([0.5 * along / 1.5, 0.5 * left / 1.5, 0.0]);
            // Along y, and to its left is −x; the sign is anybody's.
            PlacedReading {
                place_m: [3.0 - 0.5 * left, 4.0 + 0.5 * along, 1.0],
                field: Measured::Vector([h.y, -h.x, -h.z]),
                u_a_per_m: 1e-9,
            }
        });
        let surveyed =
            Surveyed { readings: readings.collect(), above_m: [3.0, 4.0, 1.0], heading_deg: 90.0 };
        let same = lesson(lie, Some(&surveyed));
        assert!(same.off_deg.unwrap() < 1e-4, "{:?}", same.off_deg);
        assert_eq!(same.level.needles.len(), 81);
        // Rows up to half a metre aside are shown in the section.
        assert_eq!(same.upright.needles.len(), 27);
        let other = lesson(Lie { tilt_deg: 10.0, ..lie }, Some(&surveyed));
        assert!(other.off_deg.unwrap() > 10.0, "{:?}", other.off_deg);
    }
}
