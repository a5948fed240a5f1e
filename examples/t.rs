use rand::RngExt;
use rand::prelude::*;
use rand_chacha::ChaCha8Rng;
use wearbook::life::*;
use wearbook::model::nonparametric::*;
fn main() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    for n in [50usize, 432, 2000, 10000] {
        for kind in 0..5 {
            let mut worst: f64 = 0.;
            let mut t = 0.;
            let mut rounds = 0;
            let mut cells = 0;
            let mut slow: f64 = 0.;
            let reps = if n > 2000 { 1 } else { 20 };
            for _ in 0..reps {
                let mut l = vec![];
                while l.len() < n {
                    let u: f64 = rng.random();
                    let life = 1000.0 * (-(1.0 - u).ln()).powf(1.0 / 2.0);
                    let round = |x: f64| {
                        if kind == 4 {
                            (x / 50.0).round() * 50.0
                        } else {
                            x
                        }
                    };
                    let life = round(life).max(1.0);
                    let entry = if kind >= 2 && rng.random::<f64>() < 0.4 {
                        round(rng.random::<f64>() * 800.0)
                    } else {
                        0.0
                    };
                    if life <= entry {
                        continue;
                    }
                    let c = round(rng.random::<f64>() * 2000.0).max(entry + 1.0);
                    let r: f64 = rng.random();
                    let end = if c < life {
                        End::Suspension { at: c }
                    } else if r
                        < (if kind == 0 {
                            2.0
                        } else if kind == 3 {
                            0.05
                        } else {
                            0.4
                        })
                    {
                        let w = 50.0 + rng.random::<f64>() * 400.0;
                        let lo = round((life - w * rng.random::<f64>()).max(entry));
                        let hi = round(life + w * rng.random::<f64>()).max(lo + 1.0);
                        if rng.random::<f64>() < 0.1 {
                            End::Left { hi }
                        } else {
                            End::Interval { lo, hi }
                        }
                    } else {
                        End::Failure { at: life }
                    };
                    l.push(Life {
                        entry,
                        end,
                        count: 1,
                    });
                }
                let s = Sample::new(l).unwrap();
                let t0 = std::time::Instant::now();
                match turnbull(&s) {
                    Ok(f) => {
                        worst = worst.max(f.miss);
                        rounds = rounds.max(f.rounds);
                        cells = f.steps.len();
                    }
                    Err(e) => println!("{e}"),
                };
                let d = t0.elapsed().as_secs_f64();
                t += d;
                slow = slow.max(d);
            }
            println!(
                "n {n} kind {kind} worst {worst:.1e} mean ms {:.2} slowest {:.2} rounds {rounds} cells {cells}",
                t * 1000.0 / reps as f64,
                slow * 1000.0
            );
        }
    }
}
