#![no_std]
//! .
