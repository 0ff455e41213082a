//! The shape of a performance file; its comments explain each table. Units stand in the keys.

use super::table::{Line, Sheet};
use serde::Deserialize;

macro_rules! section {
    ($(#[$doc:meta])* $name:ident { $($field:ident: $type:ty),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub(super) struct $name { $(pub $field: $type),* }
    };
}

section! {
    /// The whole file.
    File {
        aircraft: String, limits: Limits, control: Control, takeoff: Vec<Takeoff>, air: Air, wind: Wind, slope: Slope,
        surface: Surfaces, v1: V1, thrust: Vec<Thrust>, trim: Trim, flaps: Vec<Retraction>, landing: Vec<Landing>,
        stop: Stop, approach: Approach, descent: Descent, fuel: Fuel, load: Load,
    }
}
section! {
    Limits {
        takeoff_kg: f64, landing_kg: f64, zero_fuel_kg: f64, headwind_kt: f64, tailwind_kt: f64, crosswind_kt: f64,
        runway_m: [f64; 2],
    }
}
section! { Control { vmcg_kt: Line, vmca_kt: Line } }
section! { Takeoff { flap: u32, vsr_kt: Line, vr_kt: Line, v2_kt: Line, field_m: Line } }
section! { Air { field_factor: Sheet, v1_add_kt: Sheet, vr_add_kt: Sheet, v2_add_kt: Sheet, n1_pct: Sheet } }
section! { Wind { field_per_headwind_kt: f64, field_per_tailwind_kt: f64, v1_per_headwind_kt: f64, v1_per_tailwind_kt: f64 } }
section! { Slope { field_per_pct: f64, v1_per_pct_kt: f64, range_pct: [f64; 2] } }
section! { Surface { field_factor: f64, v1_add_kt: f64, landing_factor: f64 } }
section! { Surfaces { dry: Surface, wet: Surface, slippery: Surface } }
section! { V1 { below_vr_kt: Line } }
section! { Thrust { part_pct: f64, field_factor: f64, v1_add_kt: f64, vr_add_kt: f64, n1_less_pct: f64, most_oat_c: f64 } }
section! { TrimFlap { flap: u32, add: f64 } }
section! { Trim { by_cg: Line, by_mass: Line, flap: Vec<TrimFlap>, green: [f64; 2] } }
section! { Retraction { from: u32, to: u32, speed_kt: Line } }
section! { Landing { flap: u32, vsr_kt: Line, vref_kt: Line, max_kt: f64, distance_m: Line } }
section! {
    Stop {
        air_factor: Sheet, per_headwind_kt: f64, per_tailwind_kt: f64, per_pct: f64, per_kt_above_vref: f64,
        no_reverse_slippery: f64, dispatch_part: f64, wet_part: f64, slippery_part: f64, in_flight_part: f64,
    }
}
section! { Approach { headwind_part: f64, gust_part: f64, least_kt: f64, most_kt: f64, below_flap_limit_kt: f64 } }
section! { Descent { path_deg: f64, slowing_nm: Line, altitude_ft: [f64; 2] } }
section! {
    Fuel {
        cruise_kgh: Sheet, holding_kgh: Line, reserve_min: f64, leak_kg: f64, leak_part: f64, imbalance_kg: f64,
        taxi_kg: f64,
    }
}
section! { Load { tolerance_kg: f64, envelope: Vec<Envelope> } }
section! { Envelope { mass_kg: f64, forward_pct: f64, aft_pct: f64 } }
