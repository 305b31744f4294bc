use std::sync::Arc; use std::time::Instant;
use halfsplit::dictionary::{Dictionary, Setup}; use halfsplit::library;
fn main(){
 for sys in ["t4-ac","t4-dc"] {
 let c=Arc::new(library::load(sys).unwrap()); let d=Dictionary::new(Arc::clone(&c)).unwrap();
 let setups=Setup::single(&c); let singles=d.singles();
 let t0=Instant::now(); let (mut ts,mut n)=(0.0,0);
 for s in &setups { let t=Instant::now(); let Ok(p)=d.settle(s) else {continue}; ts+=t.elapsed().as_secs_f64(); for k in &singles { let _=std::hint::black_box(d.entry(&p,*k)); n+=1; } }
 println!("{sys}: {:?} settle {ts:.3} entries {} n {n}",t0.elapsed(),setups.len()*singles.len());
 } }
