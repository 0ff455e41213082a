//! Every lever, switch and selector, and what people outside the aircraft do to it: positions only, no effects.

/// Positions that have words.
pub(super) trait Words: Sized {
    /// All words, in order.
    const WORDS: &'static [&'static str];
    /// The word of this position.
    fn word(self) -> &'static str;
    /// The position of a word.
    fn parse(word: &str) -> Option<Self>;
}

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($variant:ident = $word:literal),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub(super) enum $name { $($variant),* }

        impl $crate::core::sim::panel::Words for $name {
            const WORDS: &'static [&'static str] = &[$($word),*];
            fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),* }
            }
            fn parse(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)* _ => None }
            }
        }
    };
}

pub(super) use words;

words! { Gear { Up = "up", Down = "down" } }
words! { Speedbrake { Down = "down", Armed = "armed", Up = "up" } }
words! { Autobrake { Off = "off", Takeoff = "takeoff", Low = "low", Medium = "medium", High = "high" } }
words! { ApuSwitch { Off = "off", On = "on", Start = "start" } }
words! { StartSelector { Off = "off", Start = "start" } }
words! { FuelLever { Cutoff = "cutoff", Run = "run" } }
words! { Transponder { Standby = "standby", On = "on", Alert = "alert" } }
words! { Reverse { Stowed = "stowed", Idle = "idle", Full = "full" } }
words! { Tug { Away = "away", Attached = "attached", Pushing = "pushing" } }
words! { AudioSelector { FlightDeck = "flight_deck", Radio = "radio", Ground = "ground", Cabin = "cabin" } }

use super::params::{ENGINES, TANKS};

/// Positions. What comes once an engine stands in order from the left; the places of engines that are not there are unused.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Panel {
    pub thrust_lever_pct: [f64; ENGINES],
    pub column_pct: f64,
    pub wheel_pct: f64,
    pub pedals_pct: f64,
    pub brakes_pct: f64,
    pub parking_brake: bool,
    pub gear_lever: Gear,
    pub flap_lever: f64,
    pub reverse_lever: Reverse,
    pub speedbrake_lever: Speedbrake,
    pub trim_units: f64,
    pub autobrake: Autobrake,
    pub altimeter_hpa: f64,
    /// Frequency of the instrument landing system, MHz.
    pub nav_mhz: f64,
    pub battery: bool,
    pub external_power_available: bool,
    pub external_power: bool,
    pub generator: [bool; ENGINES],
    pub apu_switch: ApuSwitch,
    pub apu_generator: bool,
    pub apu_bleed: bool,
    /// Of the tank of each engine, then of the centre.
    pub fuel_pump: [bool; TANKS],
    pub hyd_elec_pump: [bool; ENGINES],
    pub bleed: [bool; ENGINES],
    pub pack: [bool; 2],
    pub engine_start: [StartSelector; ENGINES],
    pub fuel_lever: [FuelLever; ENGINES],
    pub engine_anti_ice: [bool; ENGINES],
    pub probe_heat: bool,
    pub window_heat: bool,
    pub beacon: bool,
    pub nav_lights: bool,
    pub taxi_light: bool,
    pub landing_lights: bool,
    pub strobes: bool,
    pub seatbelt_signs: bool,
    pub transponder: Transponder,
    pub squawk: String,
    /// The aircraft calls heights before the flare itself.
    pub height_voice: bool,
    pub doors_closed: bool,
    pub cabin_ready: bool,
    pub chocks: bool,
    pub tug: Tug,
    pub bypass_pin: bool,
    pub interphone: bool,
    /// To whom the pilot speaks.
    pub audio_selector: AudioSelector,
    /// A collision or a ground warning speaks: a circumstance, which nothing here causes by itself.
    pub resolution_advisory: bool,
    pub ground_proximity: bool,
}

impl Panel {
    /// Cold and dark at the stand, as the last crew left it: chocks in, parking brake set, doors open.
    pub fn cold(ground_power: bool, trim_units: f64) -> Self {
        Panel {
            thrust_lever_pct: [0.0; ENGINES],
            column_pct: 0.0,
            wheel_pct: 0.0,
            pedals_pct: 0.0,
            brakes_pct: 0.0,
            parking_brake: true,
            gear_lever: Gear::Down,
            flap_lever: 0.0,
            reverse_lever: Reverse::Stowed,
            speedbrake_lever: Speedbrake::Down,
            trim_units,
            autobrake: Autobrake::Off,
            altimeter_hpa: 1013.25,
            nav_mhz: 108.0,
            battery: false,
            external_power_available: ground_power,
            external_power: false,
            generator: [false; ENGINES],
            apu_switch: ApuSwitch::Off,
            apu_generator: false,
            apu_bleed: false,
            fuel_pump: [false; TANKS],
            hyd_elec_pump: [false; ENGINES],
            bleed: [false; ENGINES],
            pack: [false; 2],
            engine_start: [StartSelector::Off; ENGINES],
            fuel_lever: [FuelLever::Cutoff; ENGINES],
            engine_anti_ice: [false; ENGINES],
            probe_heat: false,
            window_heat: false,
            beacon: false,
            nav_lights: false,
            taxi_light: false,
            landing_lights: false,
            strobes: false,
            seatbelt_signs: false,
            transponder: Transponder::Standby,
            squawk: "2000".into(),
            height_voice: false,
            doors_closed: false,
            cabin_ready: false,
            chocks: true,
            tug: Tug::Away,
            bypass_pin: false,
            interphone: false,
            audio_selector: AudioSelector::FlightDeck,
            resolution_advisory: false,
            ground_proximity: false,
        }
    }

    /// Ready for takeoff: everything on that the flows leave on, flaps and trim set.
    pub fn lined_up(trim_units: f64, flap_lever: f64, altimeter_hpa: f64) -> Self {
        Panel {
            flap_lever,
            autobrake: Autobrake::Takeoff,
            altimeter_hpa,
            battery: true,
            generator: [true; ENGINES],
            fuel_pump: [true; TANKS],
            hyd_elec_pump: [true; ENGINES],
            bleed: [true; ENGINES],
            pack: [true; 2],
            fuel_lever: [FuelLever::Run; ENGINES],
            probe_heat: true,
            window_heat: true,
            beacon: true,
            nav_lights: true,
            landing_lights: true,
            strobes: true,
            seatbelt_signs: true,
            transponder: Transponder::Alert,
            doors_closed: true,
            cabin_ready: true,
            chocks: false,
            ..Panel::cold(false, trim_units)
        }
    }
}
