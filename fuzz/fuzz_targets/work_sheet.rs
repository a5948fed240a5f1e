#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| wearbook_fuzz::fuzz_bodies::work_sheet(data));
