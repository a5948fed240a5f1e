//! Import: the guide is kept true, the examples come in, nothing comes in twice, and what
//! is rejected can be mended.

#[path = "import/desk.rs"]
mod desk;

#[path = "import/examples.rs"]
mod examples;
#[path = "import/guide.rs"]
mod guide;
#[path = "import/long.rs"]
mod long;
#[path = "import/maps.rs"]
mod maps;
#[path = "import/properties.rs"]
mod properties;
#[path = "import/sketches.rs"]
mod sketches;
