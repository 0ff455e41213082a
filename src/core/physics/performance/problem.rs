//! Why there is no figure: typed, and worded by the book.

/// A quantity that a table is entered with, or that a limit is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Mass of the case.
    Mass,
    /// Greatest takeoff mass.
    TakeoffMass,
    /// Greatest landing mass.
    LandingMass,
    /// Greatest mass without fuel.
    ZeroFuelMass,
    /// Zero fuel mass and fuel of the load sheet.
    LoadSum,
    /// Zero fuel mass and the fuel that the gauges show.
    BoardSum,
    /// What the aircraft itself weighs.
    OwnWeight,
    /// Fuel.
    Fuel,
    /// Pressure altitude of a runway.
    PressureAltitude,
    /// Altitude of flight.
    Altitude,
    /// Outside air temperature.
    Temperature,
    /// Headwind.
    Headwind,
    /// Tailwind.
    Tailwind,
    /// Gust above the steady wind.
    Gust,
    /// Slope of a runway.
    Slope,
    /// Length of a runway.
    RunwayLength,
    /// How many times the needed runway there is.
    SpareRunway,
    /// Centre of gravity.
    CentreOfGravity,
    /// Ground speed.
    GroundSpeed,
    /// Speed in the descent.
    DescentSpeed,
}

impl Quantity {
    /// All that a problem can name, each with its key in the `[wording]` of a book.
    pub const WORDED: &'static [(Quantity, &'static str)] = &[
        (Quantity::Mass, "quantity_mass"),
        (Quantity::TakeoffMass, "quantity_takeoff_mass"),
        (Quantity::LandingMass, "quantity_landing_mass"),
        (Quantity::PressureAltitude, "quantity_pressure_altitude"),
        (Quantity::Altitude, "quantity_altitude"),
        (Quantity::Temperature, "quantity_temperature"),
        (Quantity::Headwind, "quantity_headwind"),
        (Quantity::Tailwind, "quantity_tailwind"),
        (Quantity::Gust, "quantity_gust"),
        (Quantity::Slope, "quantity_slope"),
        (Quantity::RunwayLength, "quantity_runway_length"),
        (Quantity::CentreOfGravity, "quantity_centre_of_gravity"),
        (Quantity::GroundSpeed, "quantity_ground_speed"),
        (Quantity::DescentSpeed, "quantity_descent_speed"),
    ];

    /// Its key in the `[wording]` of a book; empty for one that no problem names.
    pub fn key(self) -> &'static str {
        Quantity::WORDED.iter().find(|(q, _)| *q == self).map_or("", |(_, key)| key)
    }
}

/// A table was asked for something that it does not hold.
#[derive(Debug, Clone, PartialEq)]
pub struct NoData {
    /// What was asked for.
    pub what: Quantity,
    /// The value that was given, in the unit of the tables.
    pub value: f64,
    /// Least value of the table.
    pub low: f64,
    /// Greatest value of the table.
    pub high: f64,
}

/// Why there is no figure.
#[derive(Debug, Clone, PartialEq)]
pub enum Problem {
    /// The tables do not hold it.
    NoData(NoData),
    /// The tables do not know this flap setting.
    NoFlap {
        /// Asked for.
        flap: u32,
        /// That the tables know.
        known: Vec<u32>,
    },
    /// The runway is shorter than what is needed.
    TooShort {
        /// Needed, m.
        needed_m: f64,
        /// There, m.
        there_m: f64,
    },
    /// A mass is above its limit.
    TooHeavy {
        /// Which limit.
        what: Quantity,
        /// kg.
        kg: f64,
        /// kg.
        limit_kg: f64,
    },
    /// The tables do not know this part of the thrust.
    NoThrust {
        /// Asked for, per cent.
        part_pct: f64,
        /// That the tables know, per cent.
        known: Vec<f64>,
    },
    /// It is too hot to take off with less than full thrust.
    TooHotToReduce {
        /// Up to here, °C.
        most_oat_c: f64,
    },
    /// A slippery runway takes full thrust.
    SlipperyToReduce,
    /// The trim would be outside the green band.
    TrimOutside {
        /// Computed.
        units: f64,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
    },
    /// The minimum control speed on the ground is above the rotation speed.
    MinimumControl {
        /// kt.
        vmcg_kt: f64,
        /// kt.
        vr_kt: f64,
    },
    /// VREF leaves no room below the limit of the flaps.
    FlapLimit {
        /// kt.
        vref_kt: f64,
        /// The flap detent.
        flap: u32,
    },
    /// The descent would go up.
    NoDescent {
        /// ft.
        from_ft: f64,
        /// ft.
        to_ft: f64,
    },
    /// A function was given another number of inputs than it takes.
    Inputs {
        /// That it takes.
        wanted: usize,
    },
}

impl From<NoData> for Problem {
    fn from(no: NoData) -> Self {
        Problem::NoData(no)
    }
}

impl Problem {
    /// Its key in the `[wording]` of a book.
    pub fn key(&self) -> &'static str {
        match self {
            Problem::NoData(_) | Problem::Inputs { .. } => "no_data",
            Problem::NoFlap { .. } => "no_flap",
            Problem::TooShort { .. } => "too_short",
            Problem::TooHeavy { .. } => "too_heavy",
            Problem::NoThrust { .. } => "no_thrust",
            Problem::TooHotToReduce { .. } => "too_hot_to_reduce",
            Problem::SlipperyToReduce => "slippery_to_reduce",
            Problem::TrimOutside { .. } => "trim_outside",
            Problem::MinimumControl { .. } => "minimum_control",
            Problem::FlapLimit { .. } => "flap_limit",
            Problem::NoDescent { .. } => "no_descent",
        }
    }

    /// What it is about, if it names a quantity.
    pub fn what(&self) -> Option<Quantity> {
        match self {
            Problem::NoData(no) => Some(no.what),
            Problem::TooHeavy { what, .. } => Some(*what),
            _ => None,
        }
    }

    /// The two numbers that it may be told with: the value at fault, and what it is held against.
    pub fn numbers(&self) -> (f64, f64) {
        match self {
            Problem::NoData(no) => (no.value, if no.value < no.low { no.low } else { no.high }),
            Problem::NoFlap { flap, .. } => (f64::from(*flap), 0.0),
            Problem::TooShort { needed_m, there_m } => (libm::ceil(*needed_m), *there_m),
            Problem::TooHeavy { kg, limit_kg, .. } => (*kg, *limit_kg),
            Problem::NoThrust { part_pct, .. } => (*part_pct, 100.0),
            Problem::TooHotToReduce { most_oat_c } => (*most_oat_c, *most_oat_c),
            Problem::SlipperyToReduce => (0.0, 0.0),
            Problem::TrimOutside { units, low, high } => (*units, if units < low { *low } else { *high }),
            Problem::MinimumControl { vmcg_kt, vr_kt } => (*vmcg_kt, *vr_kt),
            Problem::FlapLimit { vref_kt, flap } => (*vref_kt, f64::from(*flap)),
            Problem::NoDescent { from_ft, to_ft } => (*from_ft, *to_ft),
            Problem::Inputs { wanted } => (*wanted as f64, 0.0),
        }
    }
}
