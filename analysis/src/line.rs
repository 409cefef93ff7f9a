//! Weighted straight-line fit kept as running sums.

/// Sums for y = a + b x with weights; x and y should be given relative to
/// values near their middle so that the sums keep their digits.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Line {
    pub count: f64,
    weight: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Line {
    pub(crate) fn add(&mut self, x: f64, y: f64, weight: f64) {
        self.count += 1.0;
        self.weight += weight;
        // West's update (Comm. ACM 22 (1979) 532): deviations, not raw squares.
        let (dx, dy) = (x - self.x, y - self.y);
        let share = weight / self.weight;
        self.x += share * dx;
        self.y += share * dy;
        self.xx += weight * dx * (x - self.x);
        self.xy += weight * dx * (y - self.y);
        self.yy += weight * dy * (y - self.y);
    }

    /// Take in all that another line has (Chan, Golub and LeVeque, Am. Stat. 37 (1983) 242, quoted
    /// from memory).
    pub(crate) fn merge(&mut self, other: &Line) {
        let weight = self.weight + other.weight;
        if other.weight == 0.0 {
            return;
        }
        let (dx, dy) = (other.x - self.x, other.y - self.y);
        let share = self.weight * other.weight / weight;
        self.xx += other.xx + share * dx * dx;
        self.xy += other.xy + share * dx * dy;
        self.yy += other.yy + share * dy * dy;
        self.x += dx * other.weight / weight;
        self.y += dy * other.weight / weight;
        self.weight = weight;
        self.count += other.count;
    }

    /// Count x in units of 1 / `factor`.
    pub(crate) fn stretch(&mut self, factor: f64) {
        self.x *= factor;
        self.xx *= factor * factor;
        self.xy *= factor;
    }

    /// Weighted mean of x.
    pub(crate) fn middle(&self) -> f64 {
        self.x
    }

    /// Weighted mean of y.
    pub(crate) fn mean(&self) -> f64 {
        self.y
    }

    /// Total weight.
    pub(crate) fn weight(&self) -> f64 {
        self.weight
    }

    /// Weighted sum of squared deviations of x from its mean.
    pub(crate) fn spread(&self) -> f64 {
        self.xx
    }

    /// b; zero while all x are the same.
    pub(crate) fn slope(&self) -> f64 {
        if self.xx > 0.0 { self.xy / self.xx } else { 0.0 }
    }

    /// Fitted y at `x`.
    pub(crate) fn at(&self, x: f64) -> f64 {
        self.y + self.slope() * (x - self.x)
    }

    /// Weighted sum of squared residuals from the line.
    pub(crate) fn residual(&self) -> f64 {
        (self.yy - self.slope() * self.xy).max(0.0)
    }

    /// Weighted sum of squared deviations of y from its mean.
    pub(crate) fn deviation(&self) -> f64 {
        self.yy
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn recovers_a_line_far_from_the_origin() {
        let mut line = Line::default();
        for i in 0..100 {
            let x = 1e6 + f64::from(i);
            line.add(x, 3.0 + 0.25 * (x - 1e6), 1.0 + f64::from(i % 3));
        }
        assert!((line.slope() - 0.25).abs() < 1e-10);
        assert!((line.at(1e6 + 8.0) - 5.0).abs() < 1e-9);
        assert!(line.residual() < 1e-9);
    }

    #[test]
    fn two_halves_are_the_whole() {
        let point = |i: u32| (f64::from(i), f64::from(i * i % 7), 1.0 + f64::from(i % 3));
        let [mut whole, mut low, mut high] = [Line::default(); 3];
        for i in 0..40 {
            let (x, y, w) = point(i);
            whole.add(x, y, w);
            if i < 13 { low.add(x, y, w) } else { high.add(x, y, w) }
        }
        low.merge(&high);
        assert!((low.slope() - whole.slope()).abs() < 1e-12);
        assert!((low.residual() - whole.residual()).abs() < 1e-9);
        assert!((low.mean() - whole.mean()).abs() < 1e-12);
    }
}
