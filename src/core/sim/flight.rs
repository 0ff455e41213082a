//! The body in the air and on the runway: a point mass in the vertical plane, with pitch, bank and heading.
//!
//! x runs along the heading over the ground, z up from the runway. The wind is level and steady.

use super::country::Position;
use super::params::{ENGINES, Params};
use crate::core::physics::airspeed::cas_in;
use crate::core::physics::atmosphere::{self, Air};
use crate::core::physics::{DEG_RAD, FT_M, G0_M_S2, KT_M_S, wind};

/// The place and its weather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct World {
    pub elevation_ft: f64,
    pub qnh_hpa: f64,
    pub isa_deviation_c: f64,
    pub wind_from_deg: f64,
    pub wind_kt: f64,
    /// Of a dry runway's braking, the part that this one gives.
    pub grip: f64,
}

impl World {
    /// The air at a height above the runway, m.
    pub fn air(&self, height_m: f64) -> Air {
        let pressure_altitude = atmosphere::pressure_altitude_of_ft(self.elevation_ft + height_m / FT_M, self.qnh_hpa);
        atmosphere::air(pressure_altitude, self.isa_deviation_c)
    }
}

/// What acts on the body in one step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Acting {
    pub mass_kg: f64,
    pub thrust_n: [f64; ENGINES],
    pub flap_deg: f64,
    pub gear: f64,
    pub speedbrake: f64,
    /// Elevator, ailerons, rudder.
    pub control_pct: [f64; 3],
    pub trim_units: f64,
    /// The takeoff trim that this centre of gravity asks for.
    pub right_trim: f64,
    pub brakes_pct: f64,
    pub parking_brake: bool,
    pub chocks: bool,
    pub autobrake_m_s2: f64,
    /// The nose wheel follows the pedals.
    pub steering: bool,
    /// The tug holds (`Some(0)`) or moves the aircraft at this speed, m/s.
    pub tug_m_s: Option<f64>,
    pub dt: f64,
}

/// Motion and attitude.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Body {
    /// Over the ground, along the heading, m/s; negative backwards.
    pub forward_m_s: f64,
    /// Over the ground to the right of the heading, m/s: the wind's drift.
    pub side_m_s: f64,
    /// Up, m/s.
    pub up_m_s: f64,
    /// Change of `up_m_s` in the last step, m/s².
    pub up_m_s2: f64,
    pub position: Position,
    /// Of the main wheels above the runway, m.
    pub height_m: f64,
    /// Along the track since the last placing, m; pushing back counts negative.
    pub rolled_m: f64,
    pub pitch_deg: f64,
    pub pitch_rate_deg_s: f64,
    pub bank_deg: f64,
    pub heading_deg: f64,
    pub on_ground: bool,
    /// Has touched down at speed and not yet stopped.
    pub landed: bool,
    pub air: Air,
    pub cas_kt: f64,
    pub mach: f64,
    /// Close to the stall or past it, in the air.
    pub stalling: bool,
    /// Seconds in which the path follows the nose.
    pub path_lag_s: f64,
    /// Sink at the last touchdown, ft/min.
    pub touchdown_fpm: f64,
}

/// Forces along and across, N.
struct Forces {
    lift: f64,
    drag: f64,
    stalled: bool,
    near_stall: bool,
    path_lag_s: f64,
}

impl Body {
    /// Standing on the runway or at the stand.
    pub fn standing(world: &World, position: Position, heading_deg: f64) -> Self {
        let mut body = Body {
            forward_m_s: 0.0,
            side_m_s: 0.0,
            up_m_s: 0.0,
            up_m_s2: 0.0,
            position,
            height_m: 0.0,
            rolled_m: 0.0,
            pitch_deg: 0.0,
            pitch_rate_deg_s: 0.0,
            bank_deg: 0.0,
            heading_deg: compass(heading_deg),
            on_ground: true,
            landed: false,
            air: world.air(0.0),
            cas_kt: 0.0,
            mach: 0.0,
            stalling: false,
            path_lag_s: 2.0,
            touchdown_fpm: 0.0,
        };
        body.sense(world);
        body
    }

    /// In level flight at a height, ft, and a true airspeed, kt.
    pub fn flying(
        world: &World,
        position: Position,
        heading_deg: f64,
        height_ft: f64,
        tas_kt: f64,
        pitch_deg: f64,
    ) -> Self {
        let mut body = Body::standing(world, position, heading_deg);
        body.forward_m_s = tas_kt * KT_M_S - body.headwind_m_s(world);
        body.height_m = height_ft * FT_M;
        body.pitch_deg = pitch_deg;
        body.on_ground = false;
        body.side_m_s = body.drift_m_s(world);
        body.sense(world);
        body
    }

    /// Ground speed, kt, never negative.
    pub fn ground_speed_kt(&self) -> f64 {
        let side = self.side_m_s;
        if side == 0.0 {
            return libm::fabs(self.forward_m_s) / KT_M_S;
        }
        libm::sqrt(self.forward_m_s * self.forward_m_s + side * side) / KT_M_S
    }

    /// Direction of motion over the ground, degrees; the heading while it stands or is pushed back.
    pub fn track_deg(&self) -> f64 {
        if self.forward_m_s < 1.0 {
            return self.heading_deg;
        }
        compass(self.heading_deg + libm::atan2(self.side_m_s, self.forward_m_s) / DEG_RAD)
    }

    /// What the wind makes of a heading in flight, m/s to the right.
    fn drift_m_s(&self, world: &World) -> f64 {
        -wind::components(world.wind_from_deg, world.wind_kt, self.heading_deg).crosswind_kt * KT_M_S
    }

    fn headwind_m_s(&self, world: &World) -> f64 {
        wind::components(world.wind_from_deg, world.wind_kt, self.heading_deg).headwind_kt * KT_M_S
    }

    /// Speed against the air along the heading, m/s.
    fn against_air_m_s(&self, world: &World) -> f64 {
        self.forward_m_s + self.headwind_m_s(world)
    }

    /// Takes the pitch of steady flight along the present path, and returns the drag, N.
    pub fn balance(&mut self, params: &Params, world: &World, acting: &Acting) -> f64 {
        let (flap_lift, _, lift_max) = params.flap(acting.flap_deg);
        let v = self.mach * self.air.sound_kt * KT_M_S;
        let pressure_area = (0.5 * self.air.density_kg_m3 * v * v * params.airframe.wing_m2).max(1.0);
        let sine = self.path_sine(world);
        let cosine = libm::sqrt(1.0 - sine * sine);
        let coefficient = (acting.mass_kg * G0_M_S2 * cosine / pressure_area).min(lift_max);
        let incidence = (coefficient - params.airframe.lift_zero - flap_lift) / params.airframe.lift_per_rad;
        let path = libm::asin(sine);
        self.pitch_deg = (path + incidence) / DEG_RAD;
        self.forces(params, world, acting, path).drag
    }

    /// Sine of the angle of the path through the air.
    pub fn path_sine(&self, world: &World) -> f64 {
        let along = self.against_air_m_s(world).max(1.0);
        self.up_m_s / libm::sqrt(along * along + self.up_m_s * self.up_m_s)
    }

    /// What the probes feel.
    pub fn sense(&mut self, world: &World) {
        self.air = world.air(self.height_m);
        let (x, z) = (self.against_air_m_s(world).max(0.0), self.up_m_s);
        self.mach = libm::sqrt(x * x + z * z) / KT_M_S / self.air.sound_kt;
        self.cas_kt = cas_in(self.mach, &self.air);
    }

    fn forces(&self, params: &Params, world: &World, acting: &Acting, path_rad: f64) -> Forces {
        let data = &params.airframe;
        let (flap_lift, flap_drag, lift_max) = params.flap(acting.flap_deg);
        let incidence = (self.pitch_deg * DEG_RAD - path_rad).clamp(-0.5, 0.6);
        let lift_zero = data.lift_zero + flap_lift;
        let past = (incidence - (lift_max - lift_zero) / data.lift_per_rad) / DEG_RAD;
        let stalled = past > 0.0;
        let mut coefficient = (lift_zero + data.lift_per_rad * incidence).clamp(-0.8, lift_max);
        if stalled {
            coefficient *= 1.0 - 0.5 * (past / data.stall_softness_deg).min(1.0);
        }
        let spoil = data.spoiled_lift * acting.speedbrake * if self.on_ground { 1.0 } else { 0.3 };
        coefficient *= 1.0 - spoil;
        let near = self.height_m / data.ground_effect_span_m * 16.0;
        let ground_effect = (near * near / (1.0 + near * near)).max(0.4);
        let drag_coefficient = data.drag_zero
            + data.drag_gear * acting.gear
            + flap_drag
            + data.drag_speedbrake * acting.speedbrake
            + data.drag_rise * squared((self.mach - data.drag_rise_mach).max(0.0))
            + data.drag_induced * coefficient * coefficient * ground_effect
            + if stalled { 0.02 * past.min(15.0) } else { 0.0 };
        let x = self.against_air_m_s(world);
        let pressure_area = 0.5 * self.air.density_kg_m3 * (x * x + self.up_m_s * self.up_m_s) * data.wing_m2;
        // Wind from behind on a standing aircraft pushes: the drag has the sign of the speed; it has no lift then.
        let (lift, sign) = if x >= 0.0 { (pressure_area * coefficient, 1.0) } else { (0.0, -1.0) };
        let near_stall = past > -data.stall_warning_deg;
        let slope = (pressure_area * data.lift_per_rad).max(1.0);
        let path_lag_s = (acting.mass_kg * x.max(1.0) / slope).clamp(0.5, 5.0);
        Forces { lift, drag: sign * pressure_area * drag_coefficient, stalled, near_stall, path_lag_s }
    }

    /// One step.
    pub fn step(&mut self, params: &Params, world: &World, acting: &Acting) {
        let path = if self.on_ground { 0.0 } else { libm::atan2(self.up_m_s, self.against_air_m_s(world).max(1.0)) };
        let forces = self.forces(params, world, acting, path);
        self.path_lag_s = forces.path_lag_s;
        self.stalling = forces.near_stall && !self.on_ground;
        let up_before = self.up_m_s;
        let against = self.headwind_m_s(world);
        self.turn(params, acting, &forces);
        if self.on_ground {
            self.roll(params, world, acting, &forces);
            self.straighten(acting.dt);
        } else {
            // Turning through a wind changes the ground speed, not the airspeed.
            self.forward_m_s += against - self.headwind_m_s(world);
            self.fly(acting, &forces, path);
            self.side_m_s += (self.drift_m_s(world) - self.side_m_s) * (acting.dt / 1.0);
        }
        self.up_m_s2 = (self.up_m_s - up_before) / acting.dt;
        self.travel(acting.dt);
        self.rolled_m += self.forward_m_s * acting.dt;
        self.sense(world);
    }

    /// The tyres turn the nose into the direction of travel.
    fn straighten(&mut self, dt: f64) {
        if libm::fabs(self.side_m_s) < 0.01 {
            self.side_m_s = 0.0;
            return;
        }
        let angle = libm::atan2(self.side_m_s, self.forward_m_s.max(1.0));
        let speed = libm::sqrt(self.forward_m_s * self.forward_m_s + self.side_m_s * self.side_m_s);
        let turned = angle * (dt / 0.6);
        self.heading_deg = compass(self.heading_deg + turned / DEG_RAD);
        self.forward_m_s = speed * libm::cos(angle - turned);
        self.side_m_s = speed * libm::sin(angle - turned);
    }

    fn travel(&mut self, dt: f64) {
        let (sin, cos) = (libm::sin(self.heading_deg * DEG_RAD), libm::cos(self.heading_deg * DEG_RAD));
        self.position.east_m += (self.forward_m_s * sin + self.side_m_s * cos) * dt;
        self.position.north_m += (self.forward_m_s * cos - self.side_m_s * sin) * dt;
    }

    fn roll(&mut self, params: &Params, world: &World, acting: &Acting, forces: &Forces) {
        let (wheels, dt) = (&params.wheels, acting.dt);
        let thrust: f64 = acting.thrust_n.iter().sum();
        let pitch = self.pitch_deg * DEG_RAD;
        let load = acting.mass_kg * G0_M_S2 - forces.lift - thrust * libm::sin(pitch);
        if load <= 0.0 && self.forward_m_s > 0.0 {
            self.on_ground = false;
            self.landed = false;
            return;
        }
        let load = load.max(0.0);
        if let Some(wanted) = acting.tug_m_s {
            let held = acting.parking_brake || acting.chocks || acting.brakes_pct > 10.0;
            let (to, rate) = if held { (0.0, 1.0) } else { (wanted, wheels.tug_m_s2) };
            self.forward_m_s += (to - self.forward_m_s).clamp(-rate * dt, rate * dt);
            return;
        }
        let mut grip = if acting.gear < 0.99 { wheels.belly } else { wheels.rolling };
        let braking = wheels.braking * world.grip;
        let mut brakes = braking * acting.brakes_pct / 100.0;
        if acting.autobrake_m_s2 > 0.0 {
            let own = (forces.drag - thrust) / acting.mass_kg;
            brakes = brakes.max(((acting.autobrake_m_s2 - own) * acting.mass_kg / load.max(1.0)).clamp(0.0, braking));
        }
        if acting.parking_brake {
            brakes = brakes.max(wheels.parking);
        }
        grip += brakes + if acting.chocks { wheels.chocks } else { 0.0 };
        self.forward_m_s += (thrust * libm::cos(pitch) - forces.drag) / acting.mass_kg * dt;
        let most = grip * load / acting.mass_kg * dt;
        // Friction stops the wheels and never turns them round.
        self.forward_m_s -= self.forward_m_s.clamp(-most, most);
        if self.ground_speed_kt() < 1.0 {
            self.landed = false;
        }
    }

    fn fly(&mut self, acting: &Acting, forces: &Forces, path: f64) {
        let thrust: f64 = acting.thrust_n.iter().sum();
        let (pitch, bank) = (self.pitch_deg * DEG_RAD, self.bank_deg * DEG_RAD);
        let (sin, cos) = (libm::sin(path), libm::cos(path));
        let level = forces.lift * libm::cos(bank);
        self.forward_m_s += (thrust * libm::cos(pitch) - forces.drag * cos - level * sin) / acting.mass_kg * acting.dt;
        self.up_m_s +=
            ((thrust * libm::sin(pitch) + level * cos - forces.drag * sin) / acting.mass_kg - G0_M_S2) * acting.dt;
        self.height_m += self.up_m_s * acting.dt;
        if self.height_m <= 0.0 && self.up_m_s <= 0.0 {
            self.height_m = 0.0;
            self.touchdown_fpm = -self.up_m_s / FT_M * 60.0;
            self.up_m_s = 0.0;
            self.bank_deg = 0.0;
            self.on_ground = true;
            self.landed = self.ground_speed_kt() > 60.0;
        }
    }

    fn turn(&mut self, params: &Params, acting: &Acting, forces: &Forces) {
        let (data, dt) = (&params.handling, acting.dt);
        let [elevator, aileron, rudder] = acting.control_pct;
        let part = self.cas_kt / data.reference_kt;
        let power = (part * part).min(1.5);
        let mut wanted = if self.on_ground {
            let pull = (elevator + data.trim_column_pct * (acting.trim_units - acting.right_trim)) * power;
            if pull > data.ground_column_pct {
                (pull - data.ground_column_pct) / (100.0 - data.ground_column_pct) * data.pitch_rate_deg_s
            } else {
                -data.nose_drop_deg_s * (1.0 - (pull / data.ground_column_pct).clamp(0.0, 1.0))
            }
        } else {
            elevator / 100.0 * data.pitch_rate_deg_s * power.min(1.0)
        };
        if forces.stalled && !self.on_ground {
            wanted -= data.stall_drop_deg_s;
        }
        self.pitch_rate_deg_s += (wanted - self.pitch_rate_deg_s) * (dt / data.pitch_lag_s);
        let (low, high) = if self.on_ground {
            (0.0, params.airframe.tail_strike_deg)
        } else {
            (data.pitch_limit_deg[0], data.pitch_limit_deg[1])
        };
        let pitch = self.pitch_deg + self.pitch_rate_deg_s * dt;
        self.pitch_deg = pitch.clamp(low, high);
        if pitch != self.pitch_deg {
            self.pitch_rate_deg_s = 0.0;
        }
        let turning: f64 = params.engine.arms.iter().zip(acting.thrust_n).map(|(arm, thrust)| arm * thrust).sum();
        let missing = turning / params.engine.static_thrust_n * data.yaw_asymmetry_deg_s;
        let mut rate = 0.0;
        if self.on_ground {
            let speed = self.ground_speed_kt();
            if acting.steering {
                let wheel = (speed / 5.0).min(1.0) * (1.0 - speed / data.steer_fades_kt).max(0.0);
                rate += steering_sign(self.forward_m_s) * rudder / 100.0 * data.steer_deg_s * wheel;
            }
            rate += (rudder / 100.0 * data.rudder_deg_s * power) + missing * (speed / 30.0).min(1.0);
        } else {
            let limit = data.bank_limit_deg;
            let bank = self.bank_deg + aileron / 100.0 * data.roll_rate_deg_s * power.min(1.0) * dt;
            self.bank_deg = bank.clamp(-limit, limit);
            let speed = self.forward_m_s.max(40.0);
            rate += G0_M_S2 * libm::tan(self.bank_deg * DEG_RAD) / speed / DEG_RAD;
            rate += 0.4 * (rudder / 100.0 * data.rudder_deg_s + missing);
        }
        self.heading_deg = compass(self.heading_deg + rate * dt);
    }
}

/// A direction from 0 to just below 360 degrees. (A hair below 0 rounds to 360 exactly.)
fn compass(deg: f64) -> f64 {
    let turned = deg.rem_euclid(360.0);
    if turned >= 360.0 { 0.0 } else { turned }
}

fn squared(x: f64) -> f64 {
    x * x
}

/// Rolling backwards, the nose wheel turns the other way.
fn steering_sign(speed: f64) -> f64 {
    if speed < 0.0 { -1.0 } else { 1.0 }
}
