//! Charts, each drawn once and delivered as SVG and as PNG.
//!
//! A chart is a type that implements [`Picture`]: it knows its size and draws
//! itself on a [`Canvas`] in points, whatever is behind the canvas.
//! [`render`] turns it into a [`Drawing`]. Charts with axes lay out a [`Plot`]
//! and put lines, bands, error bars and marks on it by their values.
//!
//! Letters come from a font that is part of the program, so pictures look the
//! same on every machine.

pub mod axis;
pub mod canvas;
pub mod carrier_over_time;
pub mod contour;
pub mod contour_map;
pub mod coupling_over_angle;
pub mod coupling_over_distance;
pub mod drawing;
pub mod field_on_surface;
pub mod field_over_distance;
pub mod field_over_station;
pub mod field_sections;
pub mod first_heard;
mod font;
pub mod labels;
pub mod legend;
pub mod located_unit;
pub mod location_residuals;
pub mod masking_matrix;
pub mod maxima_above;
pub mod over_temperature;
pub mod over_time;
pub mod over_years;
pub mod plot;
pub mod polar;
pub mod pulse_envelope;
pub mod pulse_timeline;
pub mod range_rose;
pub mod residuals;
pub mod station_map;
pub mod station_units;
pub mod strongest_unit;
pub mod style;

pub use axis::{Axis, Tick};
pub use canvas::Canvas;
pub use drawing::{Drawing, Picture, PictureError, render, svg};
pub use legend::Legend;
pub use plot::Plot;
