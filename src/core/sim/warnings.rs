//! The takeoff configuration warning, the master caution, and the warnings of flight.

use super::Aircraft;
use super::ENGINES;
use super::STEP_S;
use super::autopilot::Vertical;
use super::panel::{Speedbrake, words};
use crate::core::physics::FT_M;

words! {
    /// What the aircraft's own voice calls on the way to the flare.
    HeightCall { Silent = "none", Fifty = "fifty", Thirty = "thirty", Ten = "ten" }
}

/// A call lasts so long, s.
const CALL_S: f64 = 0.8;
/// At these heights, ft, from above.
const CALLS: [(f64, HeightCall); 3] = [(50.0, HeightCall::Fifty), (30.0, HeightCall::Thirty), (10.0, HeightCall::Ten)];

/// The aircraft's own voice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct HeightVoice {
    /// What it calls now.
    pub call: HeightCall,
    left_s: f64,
    before_ft: f64,
}

impl Default for HeightVoice {
    fn default() -> Self {
        HeightVoice { call: HeightCall::Silent, left_s: 0.0, before_ft: 0.0 }
    }
}

impl HeightVoice {
    fn watch(a: &Aircraft) -> HeightVoice {
        let before = a.warnings.height;
        let now_ft = a.body.height_m / FT_M;
        let speaks = a.panel.height_voice && !a.faults.contains("height_voice_fault") && !a.body.on_ground;
        let passed = CALLS.iter().find(|(ft, _)| speaks && before.before_ft > *ft && now_ft <= *ft);
        let (call, left_s) = match passed {
            Some((_, call)) => (*call, CALL_S),
            None if before.left_s > STEP_S => (before.call, before.left_s - STEP_S),
            None => (HeightCall::Silent, 0.0),
        };
        HeightVoice { call, left_s, before_ft: now_ft }
    }
}

/// What the crew is warned of.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Warnings {
    /// Lit until put out.
    pub master: bool,
    /// Not ready for the takeoff that the levers ask for.
    pub config: bool,
    /// Faster than the airframe, the flaps or the gear allow.
    pub overspeed: bool,
    /// Close to the stall or past it.
    pub stall: bool,
    /// Low, slow levers or landing flaps, and the gear not down.
    pub gear: bool,
    /// Near the selected altitude but not at it, or away from it after having been there.
    pub altitude: bool,
    /// What its own voice says.
    pub height: HeightVoice,
    /// Conditions that were there at the last step, so that only a new one lights the caution.
    seen: [bool; 4 * ENGINES + 3],
}

impl Warnings {
    /// After a step.
    pub fn watch(a: &Aircraft) -> Warnings {
        let config = config(a);
        let running = a.running();
        let engines = a.params.engines();
        let any = running.contains(&true);
        let limits = &a.params.limits;
        let useful = a.params.hydraulics.useful_psi;
        let mut now = [false; 4 * ENGINES + 3];
        for k in 0..engines {
            now[k] = a.fire[k] > 0.0;
            now[ENGINES + k] = running[k] && a.systems.hyd_psi[k] < useful;
            now[2 * ENGINES + k] = running[k] && a.engines[k].oil_psi(&a.params.engine) < limits.oil_min_psi;
            now[3 * ENGINES + k] =
                a.engines[k].egt_c > if running[k] { limits.egt_takeoff_c } else { limits.egt_start_c };
        }
        now[4 * ENGINES] = any && !a.panel.doors_closed;
        now[4 * ENGINES + 1] = !a.body.on_ground && running[..engines].contains(&false);
        now[4 * ENGINES + 2] = config;
        let new = now.iter().zip(a.warnings.seen).any(|(now, before)| *now && !before);
        Warnings {
            master: a.warnings.master || new,
            config,
            overspeed: !a.body.on_ground && a.body.cas_kt > a.limit_kt() + 1.0,
            stall: a.body.stalling,
            gear: gear(a),
            altitude: altitude(a),
            height: HeightVoice::watch(a),
            seen: now,
        }
    }
}

fn config(a: &Aircraft) -> bool {
    let (panel, data) = (&a.panel, &a.params.takeoff);
    let advanced = panel.thrust_lever_pct[..a.params.engines()].iter().any(|l| *l > data.lever_pct);
    if !a.body.on_ground || !advanced {
        return false;
    }
    let flaps = data.flaps.iter().any(|f| {
        let deg = f64::from(*f);
        panel.flap_lever == deg && libm::fabs(a.systems.flap_deg - deg) < 1.0
    });
    let green = (a.params.trim.green[0]..=a.params.trim.green[1]).contains(&panel.trim_units);
    !flaps || panel.speedbrake_lever != Speedbrake::Down || panel.parking_brake || !green
}

fn gear(a: &Aircraft) -> bool {
    let data = &a.params.warnings;
    if a.body.on_ground || a.systems.gear >= 1.0 || a.body.height_m > data.gear_ft * FT_M || a.body.up_m_s > 1.0 {
        return false;
    }
    a.levers_pct() < data.gear_lever_pct || a.panel.flap_lever >= data.gear_flap_deg
}

fn altitude(a: &Aircraft) -> bool {
    let data = &a.params.warnings;
    let off = libm::fabs(a.autopilot.altitude_ft - a.altitude_ft());
    let beams = matches!(a.autopilot.vertical, Vertical::GlidePath | Vertical::Flare);
    !a.body.on_ground && !beams && (data.altitude_near_ft..=data.altitude_far_ft).contains(&off)
}
