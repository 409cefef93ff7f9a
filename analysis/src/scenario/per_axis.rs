//! A number for each coil axis, given as one number or as three.

use std::fmt;

use serde::de::{self, Deserialize, Deserializer, SeqAccess, Visitor};

/// One value each for the x, y and z coil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PerAxis(pub [f64; 3]);

impl PerAxis {
    /// The same value for each axis.
    pub const fn all(value: f64) -> Self {
        Self([value; 3])
    }
}

impl<'de> Deserialize<'de> for PerAxis {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(OneOrThree)
    }
}

struct OneOrThree;

impl<'de> Visitor<'de> for OneOrThree {
    type Value = PerAxis;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("one number for all axes, or three: [x, y, z]")
    }

    fn visit_f64<E: de::Error>(self, value: f64) -> Result<PerAxis, E> {
        Ok(PerAxis::all(value))
    }

    fn visit_i64<E: de::Error>(self, value: i64) -> Result<PerAxis, E> {
        Ok(PerAxis::all(value as f64))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut values: A) -> Result<PerAxis, A::Error> {
        let mut axes = [0.0; 3];
        for (i, axis) in axes.iter_mut().enumerate() {
            *axis = values.next_element()?.ok_or_else(|| de::Error::invalid_length(i, &self))?;
        }
        match values.next_element::<f64>()? {
            None => Ok(PerAxis(axes)),
            Some(_) => Err(de::Error::invalid_length(4, &self)),
        }
    }
}
