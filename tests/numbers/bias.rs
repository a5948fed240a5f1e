//! How far the estimated shape lies above the truth in small samples: a known property of the
//! maximum-likelihood estimate, and so a check of many thousand fits at once.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearbook::life::{Life, Sample};
use wearbook::model::{Weibull, fit_weibull};

use crate::common::{cases, study};

/// Half of what the reference drew: its tolerances are five of its own standard errors.
const SAMPLES: u64 = 200_000;

/// The ratio of estimated to true shape depends on nothing but the size of a complete sample.
#[test]
fn the_estimated_shape_is_biased_as_the_reference_says() {
    let case = cases("bounds")
        .into_iter()
        .find(|c| c.id == "small-sample-bias")
        .unwrap();
    let truth = Weibull::new(1.0, 1.0).unwrap();
    for n in case.data["n"].as_array().unwrap() {
        let n = n.as_u64().unwrap();
        let ratios: Vec<f64> = (0..SAMPLES)
            .into_par_iter()
            .map(|replicate| {
                let mut rng = ChaCha8Rng::seed_from_u64(31_000_000_000 + n * SAMPLES + replicate);
                let lives = (0..n)
                    .map(|_| Life::failure(study::draw(&truth, &mut rng)))
                    .collect();
                let sample = Sample::new(lives).unwrap();
                fit_weibull(&sample).unwrap().weibull.shape
            })
            .collect();
        let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
        for (name, got) in [("mean_shape_ratio", mean), ("unbiasing_factor", 1.0 / mean)] {
            let expected = case.expected(&format!("{name}[n={n}]")).unwrap();
            expected.judge(&case, got);
        }
    }
}
