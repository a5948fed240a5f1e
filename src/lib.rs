//! wearbook
