//! stub
use crate::life::Sample;
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bend;
impl Bend {
    pub fn sentence(&self) -> String {
        String::new()
    }
}
pub fn bend(_s: &Sample) -> Option<Bend> {
    None
}
