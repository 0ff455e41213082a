//! The takeoff configuration warning and the master caution.

use super::Aircraft;
use super::panel::Speedbrake;

/// What the crew is warned of.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Warnings {
    /// Lit until put out.
    pub master: bool,
    /// Not ready for the takeoff that the levers ask for.
    pub config: bool,
    /// Conditions that were there at the last step, so that only a new one lights the caution.
    seen: [bool; 11],
}

impl Warnings {
    /// After a step.
    pub fn watch(a: &Aircraft) -> Warnings {
        let config = config(a);
        let running = a.running();
        let any = running[0] || running[1];
        let limits = &a.params.limits;
        let useful = a.params.hydraulics.useful_psi;
        let mut now = [false; 11];
        for k in 0..2 {
            now[k] = a.fire[k] > 0.0;
            now[2 + k] = running[k] && a.systems.hyd_psi[k] < useful;
            now[4 + k] = running[k] && a.engines[k].oil_psi(&a.params.engine) < limits.oil_min_psi;
            now[6 + k] = a.engines[k].egt_c > if running[k] { limits.egt_takeoff_c } else { limits.egt_start_c };
        }
        now[8] = any && !a.panel.doors_closed;
        now[9] = !a.body.on_ground && running.contains(&false);
        now[10] = config;
        let new = now.iter().zip(a.warnings.seen).any(|(now, before)| *now && !before);
        Warnings { master: a.warnings.master || new, config, seen: now }
    }
}

fn config(a: &Aircraft) -> bool {
    let (panel, data) = (&a.panel, &a.params.takeoff);
    let advanced = panel.thrust_lever_pct.iter().any(|l| *l > data.lever_pct);
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
