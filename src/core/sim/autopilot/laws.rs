//! From modes to surfaces and levers.

use super::{Autopilot, Beam, Data, Lateral, Sensed, Thrust, Vertical};
use crate::core::physics::{DEG_RAD, FT_M, G0_M_S2, KT_M_S};

/// What the autopilot and autothrust do in a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Commands {
    /// Elevator, ailerons, rudder, per cent: added to what the pilot does.
    pub control_pct: [f64; 3],
    /// The levers move by this, per cent of their travel.
    pub levers_pct: f64,
}

/// The shorter way from one direction to another, degrees.
fn turn(from_deg: f64, to_deg: f64) -> f64 {
    (to_deg - from_deg + 180.0).rem_euclid(360.0) - 180.0
}

/// How fast the centre line draws near, and how far it should: natural frequency and damping of the localiser law.
const LINE_RAD_S: f64 = 0.15;
const LINE_DAMPING: f64 = 0.9;

/// Now is the moment to turn onto the centre line.
pub(super) fn captures(beam: &Beam, s: &Sensed) -> bool {
    let across = turn(beam.course_deg, s.track_deg);
    let near = libm::fabs(across);
    if near > 100.0 || beam.localiser_dots.is_none_or(|d| libm::fabs(d) > 2.4) {
        return false;
    }
    let closing = -beam.right_m * across > 0.0;
    let radius = s.ground_m_s * s.ground_m_s / (G0_M_S2 * libm::tan(22.0 * DEG_RAD));
    let lead = radius * (1.0 - libm::cos(near * DEG_RAD)) + s.ground_m_s * 3.0 * libm::sin(near * DEG_RAD);
    libm::fabs(beam.right_m) < 40.0 || (closing && libm::fabs(beam.right_m) <= lead.max(60.0))
}

impl Autopilot {
    pub(super) fn command(&self, data: &Data, s: &Sensed) -> Commands {
        let mut control_pct = [0.0; 3];
        if self.engaged {
            if s.on_ground {
                control_pct[2] = self.roll_out(s);
            } else {
                control_pct[0] = self.elevator(s);
                control_pct[1] = self.ailerons(data, s);
                control_pct[2] = self.decrab(s);
            }
        }
        Commands { control_pct, levers_pct: self.levers(data, s) }
    }

    fn ailerons(&self, data: &Data, s: &Sensed) -> f64 {
        // So many degrees of bank for a degree off: the same time to turn at every speed.
        let gain = s.tas_m_s / 60.0;
        let (bank, limit) = match (self.lateral, s.beam) {
            (Lateral::Heading, _) => (turn(s.heading_deg, self.heading_deg) * gain, data.bank_deg),
            (Lateral::Takeoff | Lateral::GoAround, _) => {
                (turn(s.track_deg, self.runway_deg) * gain, data.takeoff_bank_deg)
            }
            (Lateral::Localiser, Some(beam)) => (line_bank(&beam, s), data.bank_deg),
            _ => (0.0, data.bank_deg),
        };
        let low = s.height_m < 15.0;
        let limit = if low { 5.0 } else { limit };
        let rate = ((bank.clamp(-limit, limit) - s.bank_deg) / 1.2).clamp(-5.0, 5.0);
        (rate / s.roll_rate_deg_s / s.pitch_power.max(0.2) * 100.0).clamp(-80.0, 80.0)
    }

    /// In the flare the rudder turns the nose toward the runway.
    fn decrab(&self, s: &Sensed) -> f64 {
        match (self.vertical, s.beam) {
            (Vertical::Flare, Some(beam)) if s.height_m < 6.0 => {
                (turn(s.heading_deg, beam.course_deg) * 30.0).clamp(-100.0, 100.0)
            }
            _ => 0.0,
        }
    }

    /// On the runway, toward the centre line with rudder and nose wheel.
    fn roll_out(&self, s: &Sensed) -> f64 {
        match (self.lateral, s.beam) {
            (Lateral::Rollout, Some(beam)) => {
                let course = beam.course_deg - (beam.right_m * 0.15).clamp(-4.0, 4.0);
                (turn(s.heading_deg, course) * 12.0).clamp(-60.0, 60.0)
            }
            _ => 0.0,
        }
    }

    fn elevator(&self, s: &Sensed) -> f64 {
        let v = s.tas_m_s.max(50.0);
        let (wanted_m_s, lag_s, most) = self.climb(s);
        let mut pull = ((wanted_m_s - s.up_m_s) / lag_s).clamp(-most, most);
        if self.vertical == Vertical::Flare {
            // The path itself bends: what the law's own change asks for.
            pull = (pull - wanted_m_s / FLARE_S).clamp(-most, most);
        }
        // The path follows the nose late: lead it.
        let path_rate = s.up_m_s2 / v;
        let rate = path_rate + (pull / v - path_rate) * (s.path_lag_s / 0.8);
        let deg_s = (rate / DEG_RAD).clamp(-3.0, 3.0);
        (deg_s / s.pitch_rate_deg_s / s.pitch_power.clamp(0.2, 1.0) * 100.0).clamp(-80.0, 80.0)
    }

    /// The vertical speed to fly, m/s; the time in which to reach it, s; the greatest acceleration, m/s².
    fn climb(&self, s: &Sensed) -> (f64, f64, f64) {
        let off_m = (self.held_ft - s.altitude_ft) * FT_M;
        match self.vertical {
            Vertical::Off => (s.up_m_s, 2.0, 0.5),
            Vertical::Rate => (self.vertical_speed_fpm * FT_M / 60.0, 2.0, 0.6),
            Vertical::Altitude => ((off_m / 6.0).clamp(-3.0, 3.0), 2.0, 0.8),
            Vertical::Capture => {
                let most = libm::sqrt(2.0 * super::CAPTURE_M_S2 * libm::fabs(off_m)).min(libm::fabs(off_m) / 6.0);
                let entry = libm::fabs(self.entry_m_s).max(2.0);
                (libm::copysign(most.min(entry), off_m), 1.5, 1.2)
            }
            Vertical::GlidePath => {
                let Some(beam) = s.beam else { return (s.up_m_s, 2.0, 0.5) };
                let along = -s.ground_m_s * libm::tan(beam.glide_deg * DEG_RAD);
                // Near the ground a metre off the path is nothing to chase.
                let soft = 5.0 + (80.0 / s.height_m.max(8.0));
                ((along - beam.above_m / soft).clamp(-8.0, 1.0), 1.6, 0.8)
            }
            Vertical::Flare => (-(s.height_m + FLARE_M) / FLARE_S, 0.9, 1.6),
            Vertical::LevelChange | Vertical::Takeoff | Vertical::GoAround => self.speed_by_pitch(s),
        }
    }

    /// Of all that thrust has to spare, what the speed does not need becomes climb.
    fn speed_by_pitch(&self, s: &Sensed) -> (f64, f64, f64) {
        let target = self.target_kt(s);
        let wanted = ((target - s.cas_kt) / 6.0).clamp(-1.2, 1.2);
        let ratio = s.tas_m_s / (s.cas_kt.max(50.0) * KT_M_S);
        let path = s.up_m_s / s.tas_m_s.max(50.0) + ratio * (self.cas_rate - wanted) * KT_M_S / G0_M_S2;
        let up = s.tas_m_s * path;
        let climbs = self.vertical != Vertical::LevelChange || self.altitude_ft > s.altitude_ft;
        let steep = s.tas_m_s * 0.30;
        if !climbs {
            return (up.clamp(-s.tas_m_s * 0.15, -1.0), 2.5, 0.8);
        }
        // It does not sink, as long as there is speed; without, the speed comes first.
        let spare = ((s.cas_kt - target + 3.0) / 3.0).clamp(0.0, 1.0);
        let least = spare
            * match self.vertical {
                Vertical::GoAround => 4.0,
                Vertical::Takeoff => 2.0,
                _ => 1.0,
            };
        (up.clamp(least, steep), 2.5, 1.2)
    }

    fn levers(&self, data: &Data, s: &Sensed) -> f64 {
        let most = data.lever_pct_s * s.dt;
        let to = |pct: f64| (pct - s.levers_pct).clamp(-most, most);
        match self.thrust {
            Thrust::Off | Thrust::Armed => 0.0,
            Thrust::Takeoff | Thrust::GoAround => to(data.takeoff_lever_pct),
            Thrust::Climb => to(data.climb_lever_pct),
            Thrust::Idle => to(0.0),
            Thrust::Retard => to(0.0) * 2.0,
            Thrust::Speed => {
                let wanted = ((self.target_kt(s) - s.cas_kt) / 7.0).clamp(-1.2, 1.2);
                let rate = 8.0 * (wanted - self.cas_rate) / libm::sqrt(s.delta.max(0.15));
                let step = (rate * s.dt).clamp(-most, most);
                (s.levers_pct + step).clamp(0.0, data.climb_lever_pct.max(s.levers_pct)) - s.levers_pct
            }
        }
    }
}

/// The flare sinks by this part of the height in a second, toward a point so far below the runway.
const FLARE_S: f64 = 3.6;
const FLARE_M: f64 = 2.0;

/// Bank that brings the aircraft onto the centre line and keeps it there.
fn line_bank(beam: &Beam, s: &Sensed) -> f64 {
    let across = s.ground_m_s * libm::sin(turn(beam.course_deg, s.track_deg) * DEG_RAD);
    let most = s.ground_m_s * libm::sin(35.0 * DEG_RAD);
    let wanted = (-beam.right_m * LINE_RAD_S / (2.0 * LINE_DAMPING)).clamp(-most, most);
    let pull = 2.0 * LINE_DAMPING * LINE_RAD_S * (wanted - across);
    libm::atan(pull / G0_M_S2) / DEG_RAD
}
