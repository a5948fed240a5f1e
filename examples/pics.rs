use wearbook::chart::*; use wearbook::life::*; use wearbook::model::nonparametric::*; use wearbook::model::*; use wearbook::model::ranks::plot_points; use wearbook::model::posterior::*;
use rand::prelude::*; use rand_chacha::ChaCha8Rng; use rand::RngExt;
fn main(){
 for (name,n,win,late) in [("n1",1usize,false,false),("n3",3,false,false),("n40",40,false,false),("n300",300,false,false),("w12",12,true,false),("w60",60,true,false),("late",30,false,true)] {
 let mut rng=ChaCha8Rng::seed_from_u64(11); let mut l=vec![];
 let mut fails=0; 
 while fails<n { let u:f64=rng.random(); let life=1000.0*(-(1.0-u).ln()).powf(1.0/2.2); let c:f64=rng.random::<f64>()*2600.0;
  let entry=if late && rng.random::<f64>()<0.6 {rng.random::<f64>()*900.0} else {0.0}; if life.min(c)<=entry {continue}
  let end=if c<life {End::Suspension{at:c}} else {fails+=1; if win && rng.random::<f64>()<0.7 {let lo=(life/250.0).floor()*250.0; End::Interval{lo,hi:lo+250.0}} else {End::Failure{at:life}}};
  l.push(Life{entry,end,count:1}); }
 if n==1 {l.push(Life::suspension(900.0));}
 let s=Sample::new(l).unwrap();
 let inside=|x:f64|x.clamp(1e-9,1.0-1e-9);
 let mut p=ProbabilityPlot{id:"a".into(),title:format!("Plunger packing set, all positions: how lives spread ({name})"),usage_label:"Running hours (h)".into(),usage_unit:"h".into(),band_name:"90 % limits".into(),..Default::default()};
 for pt in plot_points(&s){ match pt.window_from {Some(lo)=>p.intervals.push(IntervalMark{lo,hi:pt.usage,position:inside(pt.share)}),None=>p.failures.push((pt.usage,inside(pt.share)))} }
 for x in s.lives(){ if let End::Suspension{at}=x.end {p.suspensions.push(at)} }
 if let (Ok(f),Ok(po))=(fit_weibull(&s),Posterior::new(&s,ShapePrior::Flat)) {
  for i in 0..18 { let y=-9.2+(1.93+9.2)*i as f64/17.0; let sh=-(-(y as f64).exp()).exp_m1(); p.line.push((f.weibull.life_at(sh),sh)); let q=po.limits(Target::LifeAt(sh),0.9); if let (Some(a),Some(b))=(q.lower,q.upper){p.band.push(LifeLimits{fraction:sh,lower:a,upper:b});} }
  p.b10=Some(f.weibull.life_at(0.1)); }
 // as the report fills it
 let e = if has_windows(&s) { let f=turnbull(&s).unwrap(); StepEstimate{name:"estimate from windows (Turnbull)".into(),limits_name:"its 90 % limits".into(),until:f.emptied.unwrap_or(f.watch.until),steps:f.steps.iter().filter(|x|f.emptied.is_none_or(|e|x.to<e)).map(|x|EstimateStep{from:(x.from<x.to).then_some(x.from),usage:x.to,failed:(1.0-x.estimate).clamp(0.0,1.0),limits:None}).collect()} }
 else {let f=product_limit(&s,0.9,LimitsScale::LogLog).unwrap(); StepEstimate{name:"product-limit estimate".into(),limits_name:"its 90 % limits".into(),until:f.emptied.unwrap_or(f.watch.until),steps:f.steps.iter().filter(|x|f.emptied.is_none_or(|e|x.time<e)).map(|x|EstimateStep{from:None,usage:x.time,failed:1.0-x.estimate,limits:x.lower.zip(x.upper).map(|(a,b)|(1.0-b,1.0-a))}).collect()}};
 p.estimate=Some(e);
 std::fs::write(format!("/tmp/lab-nonpar/{name}.svg"),probability_plot(&p,Size::default()).unwrap()).unwrap();
 }}
