//! Autopilot, flight director and autothrust: what is selected, armed and engaged, and how modes follow each other.
//!
//! Modes run while the director or the autopilot is on; only the autopilot moves the surfaces, only autothrust the
//! levers. `laws.rs` turns modes into motion.

mod laws;

use super::country::Beam;
use super::panel::words;
use super::params::Autopilot as Data;
use crate::core::physics::{FT_M, KT_M_S};
pub(super) use laws::Commands;

words! {
    /// What steers.
    Lateral {
        Off = "off", Takeoff = "takeoff", Heading = "heading", Localiser = "localiser", Rollout = "rollout",
        GoAround = "go_around",
    }
}
words! {
    /// What holds height or speed with the nose.
    Vertical {
        Off = "off", Takeoff = "takeoff", LevelChange = "level_change", Rate = "vertical_speed",
        Capture = "altitude_capture", Altitude = "altitude", GlidePath = "glide_path", Flare = "flare",
        GoAround = "go_around",
    }
}
words! {
    /// What waits to engage.
    VerticalArmed {
        None = "none", Altitude = "altitude", GlidePath = "glide_path", Both = "altitude_glide_path",
    }
}
words! { LateralArmed { None = "none", Localiser = "localiser" } }
words! {
    /// What the levers do.
    Thrust {
        Off = "off", Armed = "armed", Takeoff = "takeoff", Climb = "climb", Speed = "speed", Idle = "idle",
        Retard = "retard", GoAround = "go_around",
    }
}

/// What the aircraft tells the autopilot in one step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sensed {
    pub bank_deg: f64,
    pub heading_deg: f64,
    pub track_deg: f64,
    pub cas_kt: f64,
    pub mach: f64,
    pub tas_m_s: f64,
    pub ground_m_s: f64,
    pub up_m_s: f64,
    pub up_m_s2: f64,
    pub pressure_altitude_ft: f64,
    /// As the altimeter shows it.
    pub altitude_ft: f64,
    pub height_m: f64,
    pub on_ground: bool,
    pub beam: Option<Beam>,
    pub gear_down: bool,
    /// Greatest speed of flaps and gear now, and of the airframe, kt.
    pub limit_kt: f64,
    /// Seconds in which the path follows the nose.
    pub path_lag_s: f64,
    /// Part of the pitch rate that the elevator has at this speed.
    pub pitch_power: f64,
    /// Rates of full elevator and full ailerons, degrees a second.
    pub pitch_rate_deg_s: f64,
    pub roll_rate_deg_s: f64,
    pub delta: f64,
    pub levers_pct: f64,
    pub column_pct: f64,
    pub wheel_pct: f64,
    /// Surfaces move and there is power.
    pub able: bool,
    pub stalling: bool,
    pub dt: f64,
}

impl Sensed {
    fn radio_ft(&self) -> f64 {
        self.height_m / FT_M
    }
}

/// The state.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Autopilot {
    pub engaged: bool,
    pub director: bool,
    pub autothrust: bool,
    pub lateral: Lateral,
    pub vertical: Vertical,
    pub thrust: Thrust,
    pub localiser_armed: bool,
    pub glide_armed: bool,
    pub heading_deg: f64,
    pub altitude_ft: f64,
    pub speed_kt: f64,
    pub mach: f64,
    pub in_mach: bool,
    pub vertical_speed_fpm: f64,
    /// It threw itself off, and nobody has put the warning out.
    pub warning: bool,
    /// The go-around switch, which springs back.
    pub go_around: bool,
    spring_s: f64,
    /// Altitude that is held or captured.
    held_ft: f64,
    /// Selected altitude when the capture began.
    captured_for_ft: f64,
    /// Direction that takeoff and go-around keep.
    runway_deg: f64,
    /// Vertical speed when a capture began, m/s.
    entry_m_s: f64,
    /// Levers were moved by autothrust for takeoff or go-around.
    full: bool,
    cas_before_kt: Option<f64>,
    /// Change of airspeed, kt/s, smoothed.
    cas_rate: f64,
}

/// Within this of the altitude, ft, capture becomes hold.
const HOLD_FT: f64 = 25.0;
/// The acceleration that a capture is planned with, m/s².
const CAPTURE_M_S2: f64 = 0.5;

impl Autopilot {
    /// As found at the stand.
    pub fn cold(heading_deg: f64) -> Self {
        Autopilot {
            engaged: false,
            director: false,
            autothrust: false,
            lateral: Lateral::Off,
            vertical: Vertical::Off,
            thrust: Thrust::Off,
            localiser_armed: false,
            glide_armed: false,
            heading_deg,
            altitude_ft: 5_000.0,
            speed_kt: 150.0,
            mach: 0.70,
            in_mach: false,
            vertical_speed_fpm: 0.0,
            warning: false,
            go_around: false,
            spring_s: 0.0,
            held_ft: 0.0,
            captured_for_ft: 0.0,
            runway_deg: heading_deg,
            entry_m_s: 0.0,
            full: false,
            cas_before_kt: None,
            cas_rate: 0.0,
        }
    }

    /// Guidance is wanted: director or autopilot on.
    pub fn guiding(&self) -> bool {
        self.engaged || self.director
    }

    /// A selected altitude is waited for.
    pub fn altitude_armed(&self) -> bool {
        use Vertical::{GoAround, LevelChange, Rate, Takeoff};
        matches!(self.vertical, Takeoff | LevelChange | Rate | GoAround)
    }

    /// What waits in the vertical.
    pub fn vertical_armed(&self) -> VerticalArmed {
        match (self.altitude_armed(), self.glide_armed) {
            (false, false) => VerticalArmed::None,
            (true, false) => VerticalArmed::Altitude,
            (false, true) => VerticalArmed::GlidePath,
            (true, true) => VerticalArmed::Both,
        }
    }

    /// What waits in the lateral.
    pub fn lateral_armed(&self) -> LateralArmed {
        if self.localiser_armed { LateralArmed::Localiser } else { LateralArmed::None }
    }

    /// The pilot's switch. On: keeps what the director does, or else the heading and vertical speed of the moment.
    pub fn engage(&mut self, on: bool, heading_deg: f64, vertical_speed_fpm: f64) {
        self.engaged = on;
        if on {
            if self.lateral == Lateral::Off {
                self.heading_deg = heading_deg;
                self.lateral = Lateral::Heading;
            }
            if self.vertical == Vertical::Off {
                self.vertical_speed(vertical_speed_fpm);
            }
        }
    }

    /// A vertical mode by hand, with the vertical speed and altitude of the moment.
    pub fn choose(&mut self, mode: Vertical, vertical_speed_fpm: f64, altitude_ft: f64) {
        self.full &= mode != Vertical::LevelChange;
        match mode {
            Vertical::Rate => self.vertical_speed(vertical_speed_fpm),
            Vertical::Altitude => self.held_ft = altitude_ft,
            _ => {}
        }
        self.vertical = mode;
    }

    fn vertical_speed(&mut self, now_fpm: f64) {
        self.vertical = Vertical::Rate;
        self.vertical_speed_fpm = (libm::round(now_fpm / 100.0) * 100.0).clamp(-6_000.0, 6_000.0);
    }

    /// Established on both beams, or in a mode of its own: how a place in the air begins.
    pub fn begin(&mut self, lateral: Lateral, vertical: Vertical, altitude_ft: f64) {
        (self.engaged, self.director, self.autothrust) = (true, true, true);
        (self.lateral, self.vertical) = (lateral, vertical);
        self.held_ft = altitude_ft;
        self.thrust = Thrust::Speed;
    }

    /// Goes on in the modes that were seen; a capture begins anew.
    pub fn go_on(&mut self, lateral: Lateral, vertical: Vertical, altitude_ft: f64, heading_deg: f64) {
        let near = libm::fabs(self.altitude_ft - altitude_ft) < 200.0;
        self.held_ft = if near { self.altitude_ft } else { altitude_ft };
        self.lateral = lateral;
        self.vertical = if vertical == Vertical::Capture { Vertical::LevelChange } else { vertical };
        self.runway_deg = heading_deg;
        self.thrust = if self.autothrust { Thrust::Speed } else { Thrust::Off };
    }

    /// The go-around switch is pressed.
    pub fn press_go_around(&mut self, on_ground: bool, heading_deg: f64) {
        self.go_around = true;
        self.spring_s = 0.0;
        self.runway_deg = heading_deg;
        self.full = self.autothrust;
        if self.guiding() {
            (self.localiser_armed, self.glide_armed) = (false, false);
            let modes =
                if on_ground { (Lateral::Takeoff, Vertical::Takeoff) } else { (Lateral::GoAround, Vertical::GoAround) };
            (self.lateral, self.vertical) = modes;
        }
    }

    /// One step: modes follow each other, then commands.
    pub fn step(&mut self, data: &Data, s: &Sensed) -> Commands {
        let rate = self.cas_before_kt.map_or(0.0, |before| (s.cas_kt - before) / s.dt);
        self.cas_before_kt = Some(s.cas_kt);
        self.cas_rate += (rate - self.cas_rate) * (s.dt / 0.8);
        if self.go_around {
            self.spring_s += s.dt;
            self.go_around = self.spring_s < 1.0;
        }
        let forced = libm::fabs(s.column_pct).max(libm::fabs(s.wheel_pct)) > data.force_pct;
        if self.engaged && (forced || !s.able || s.stalling) {
            self.engaged = false;
            self.warning = true;
        }
        if !self.guiding() {
            (self.lateral, self.vertical) = (Lateral::Off, Vertical::Off);
            (self.localiser_armed, self.glide_armed) = (false, false);
        } else if s.on_ground {
            self.on_the_ground(data, s);
        } else {
            self.follow_lateral(s);
            self.follow_vertical(data, s);
        }
        self.changeover(data, s);
        self.follow_thrust(data, s);
        self.command(data, s)
    }

    fn on_the_ground(&mut self, data: &Data, s: &Sensed) {
        let thrust = s.levers_pct > 0.6 * data.takeoff_lever_pct;
        if self.lateral == Lateral::Localiser && self.engaged {
            self.lateral = Lateral::Rollout;
            (self.localiser_armed, self.glide_armed) = (false, false);
            self.vertical = Vertical::Off;
        } else if thrust && self.lateral != Lateral::Takeoff {
            self.runway_deg = s.heading_deg;
            (self.lateral, self.vertical) = (Lateral::Takeoff, Vertical::Takeoff);
        } else if !matches!(self.lateral, Lateral::Takeoff | Lateral::Rollout) {
            (self.lateral, self.vertical) = (Lateral::Off, Vertical::Off);
        } else if self.lateral == Lateral::Takeoff && !thrust && !self.full && s.ground_m_s > 20.0 {
            // Rejected.
            (self.lateral, self.vertical) = (Lateral::Off, Vertical::Off);
        }
    }

    fn follow_lateral(&mut self, s: &Sensed) {
        if self.lateral == Lateral::Rollout || self.lateral == Lateral::Off && self.engaged {
            self.heading_deg = s.heading_deg;
            self.lateral = Lateral::Heading;
        }
        let beam = s.beam.filter(|b| b.localiser_dots.is_some());
        match (self.lateral, beam) {
            (Lateral::Localiser, None) if s.radio_ft() > 200.0 => {
                self.heading_deg = s.heading_deg;
                self.lateral = Lateral::Heading;
            }
            (_, Some(beam)) if self.localiser_armed && laws::captures(&beam, s) => {
                self.localiser_armed = false;
                self.lateral = Lateral::Localiser;
            }
            _ => {}
        }
    }

    fn follow_vertical(&mut self, data: &Data, s: &Sensed) {
        let off_ft = self.altitude_ft - s.altitude_ft;
        let up = s.up_m_s;
        if self.glide_armed && self.lateral == Lateral::Localiser {
            let dots = s.beam.and_then(|b| b.glide_dots);
            if dots.is_some_and(|d| libm::fabs(d) < 0.25) {
                self.glide_armed = false;
                self.vertical = Vertical::GlidePath;
                return;
            }
        }
        match self.vertical {
            Vertical::Off if self.engaged => self.vertical_speed(up / FT_M * 60.0),
            Vertical::GlidePath if s.radio_ft() < data.flare_ft && self.engaged => self.vertical = Vertical::Flare,
            Vertical::GlidePath if s.beam.is_none_or(|b| b.glide_dots.is_none()) && s.radio_ft() > 200.0 => {
                self.vertical_speed(up / FT_M * 60.0);
            }
            Vertical::Capture => {
                if libm::fabs(self.altitude_ft - self.captured_for_ft) > 50.0 {
                    self.vertical_speed(up / FT_M * 60.0);
                } else if libm::fabs(self.held_ft - s.altitude_ft) < HOLD_FT && libm::fabs(up) < 1.5 {
                    self.vertical = Vertical::Altitude;
                }
            }
            _ if self.altitude_armed() => {
                let need_m = up * up / (2.0 * CAPTURE_M_S2) + 3.0 * libm::fabs(up);
                let toward = off_ft * up > 0.0;
                let near = libm::fabs(off_ft) * FT_M;
                if (toward && near < need_m) || near < HOLD_FT * FT_M {
                    self.vertical = Vertical::Capture;
                    self.held_ft = self.altitude_ft;
                    self.captured_for_ft = self.altitude_ft;
                    self.entry_m_s = up;
                }
            }
            _ => {}
        }
    }

    /// Above the changeover the speed is a Mach number.
    fn changeover(&mut self, data: &Data, s: &Sensed) {
        if s.on_ground || !self.guiding() && !self.autothrust {
            return;
        }
        let climbing = s.up_m_s > 0.0;
        if !self.in_mach && climbing && s.mach >= data.changeover_mach {
            self.in_mach = true;
            self.mach = data.changeover_mach;
        } else if self.in_mach && !climbing && s.cas_kt >= data.changeover_kt {
            self.in_mach = false;
            self.speed_kt = data.changeover_kt;
        }
    }

    fn follow_thrust(&mut self, data: &Data, s: &Sensed) {
        if !self.autothrust {
            self.thrust = Thrust::Off;
            self.full = false;
            return;
        }
        self.thrust = if s.on_ground {
            match (self.full, self.thrust) {
                (true, _) => Thrust::Takeoff,
                (_, Thrust::Speed | Thrust::Retard | Thrust::Idle) => {
                    self.autothrust = false;
                    Thrust::Off
                }
                _ => Thrust::Armed,
            }
        } else {
            let climbs = self.altitude_ft > s.altitude_ft;
            let low = s.radio_ft() < data.retard_ft && s.gear_down && s.up_m_s < 0.0;
            match self.vertical {
                Vertical::Takeoff if self.full => Thrust::Takeoff,
                Vertical::GoAround if self.full => Thrust::GoAround,
                Vertical::Takeoff | Vertical::GoAround => Thrust::Armed,
                Vertical::LevelChange if climbs => Thrust::Climb,
                Vertical::LevelChange => Thrust::Idle,
                Vertical::Off | Vertical::GlidePath | Vertical::Flare if low => Thrust::Retard,
                _ => Thrust::Speed,
            }
        };
        // A rejected takeoff: the pilot has closed the levers against it.
        if s.on_ground && self.full && s.levers_pct < 5.0 && s.ground_m_s > 40.0 * KT_M_S {
            (self.full, self.autothrust, self.thrust) = (false, false, Thrust::Off);
        }
    }

    /// The speed that is flown, kt, as the airspeed indicator would show it.
    fn target_kt(&self, s: &Sensed) -> f64 {
        let wanted = if self.in_mach {
            crate::core::physics::airspeed::cas_from_mach(self.mach, s.pressure_altitude_ft)
        } else {
            self.speed_kt
        };
        wanted.min(s.limit_kt - 5.0)
    }
}
