use std::sync::Arc;
use halfsplit::circuit::*; use halfsplit::network::*; use halfsplit::{faults,library};
fn main(){ for id in library::NAMES { let c=Arc::new(library::load(id).unwrap()); let sound=Network::new(c.clone());
 let normal=sound.settle(State::at_rest(&c)).unwrap();
 let mut setups=vec![normal.clone()];
 for (control, part) in c.parts_with_ids() { let Some(found)=part.kind.control() else {continue}; let mut s=normal.state.clone(); s.set(control, PartState::Position((found.start+1)%found.positions.len() as u8)); setups.push(sound.settle(s).unwrap()); }
 let mut worst=0.0f64; let mut bad=0; let mut n=0;
 for s in &setups { let base=BaseCase::new(&sound,s.clone()).unwrap();
  for (f,m) in faults::all(&c) { let net=sound.with_parts(&[(f.part,m.faulted.clone())]);
   let a=net.struck_from(&base,&[f.part]).unwrap(); let b=net.struck(&sound,s,&[f.part]).unwrap();
   let (Some(a),Some(b))=(a,b) else {continue}; n+=1;
   if a.state.parts!=b.state.parts||a.events.len()!=b.events.len(){ bad+=1; println!("{id} {} events {:?} {:?}",f.code(&c),a.events.len(),b.events.len()); continue;}
   let mut e=0.0f64; for (x,y) in a.solution.dc.iter().zip(&b.solution.dc){ e=e.max((x-y).abs()/y.abs().max(1e-3)); }
   for (g,h) in a.solution.ac.iter().zip(&b.solution.ac){ for (x,y) in g.volts.iter().zip(&h.volts){ e=e.max((x-y).norm()/y.norm().max(1e-3)); } }
   if e>1e-9 {println!("{id} {} {e:e}",f.code(&c));} worst=worst.max(e);
  } }
 println!("{id} n {n} bad {bad} worst {worst:e}"); } }
