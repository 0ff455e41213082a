//! Power, air, fuel, hydraulics, engine starts and what goes wrong with them.

use super::*;

#[test]
fn engines_start_in_order_and_in_time() {
    for (seed, k) in [(1, 1), (1, 2), (17, 1), (99, 2)] {
        let mut a = ready_to_start(seed);
        let signal = |name: &str| name.replace('#', &k.to_string());
        let (n2, egt, n1) = (signal("n2_#_pct"), signal("egt_#_c"), signal("n1_#_pct"));
        set(&mut a, &signal("engine_start_#=start"));
        let valve = until(&mut a, 10.0, |a| truth(a, &signal("start_valve_#"))).expect("start valve");
        between("start valve opens", valve, 1.0, 2.0);
        let turning = until(&mut a, 40.0, |a| num(a, &n2) >= 22.0).expect("22 % N2");
        between("to 22 % N2", turning, 10.0, 18.0);
        assert!(num(&a, &egt) < 40.0, "no heat before fuel");
        set(&mut a, &signal("fuel_lever_#=run"));
        let light = until(&mut a, 10.0, |a| num(a, &egt) > 60.0).expect("light-off");
        between("light-off", light, 2.0, 5.0);
        let (mut peak, mut cut_at, mut oil_before_n1) = (0.0_f64, None, false);
        let spool =
            until(&mut a, 60.0, |a| truth(a, &signal("start_valve_#")) && num(a, &egt) > 500.0).expect("heats up");
        oil_before_n1 |= num(&a, &signal("oil_pressure_#_psi")) > 5.0 && num(&a, &n1) < 15.0;
        assert!(oil_before_n1, "oil pressure comes before the fan is fast");
        let mut rest = 0.0;
        while num(&a, &n2) < 59.5 {
            a.step();
            rest += STEP_S;
            peak = peak.max(num(&a, &egt));
            if cut_at.is_none() && !truth(&a, &signal("start_valve_#")) {
                cut_at = Some(num(&a, &n2));
                assert_eq!(word(&a, &signal("engine_start_#")), "off", "the selector springs back");
                assert!(!truth(&a, &signal("engine_running_#")), "not yet self-sustaining");
            }
            assert!(rest < 60.0, "never idles");
        }
        between("start valve closes at", cut_at.expect("closes"), 49.5, 51.0);
        between("peak temperature", peak, 480.0, 725.0);
        between("whole start", valve + turning + light + spool + rest, 35.0, 60.0);
        wait(&mut a, 10.0);
        assert!(truth(&a, &signal("engine_running_#")));
        between("idle N1", num(&a, &n1), 21.5, 22.5);
        between("idle temperature", num(&a, &egt), 400.0, 460.0);
        assert!(num(&a, &signal("oil_pressure_#_psi")) > 25.0);
    }
}

#[test]
fn no_start_without_what_it_needs() {
    // What is taken away, and what is then missing for ever: the valve, or the flame.
    for (spoilt, valve) in [
        ("apu_bleed=false", false),
        ("pack_1=true", false),
        ("pack_1=true pack_2=true", false),
        ("battery=false apu_generator=false external_power=false", false),
        ("fuel_pump_left=false", true),
    ] {
        let mut a = ready_to_start(1);
        set(&mut a, spoilt);
        wait(&mut a, 5.0);
        set(&mut a, "engine_start_1=start");
        let opened = until(&mut a, 20.0, |a| truth(a, "start_valve_1")).is_some();
        assert_eq!(opened, valve, "{spoilt}");
        set(&mut a, "fuel_lever_1=run");
        wait(&mut a, 60.0);
        assert!(!truth(&a, "engine_running_1"), "{spoilt}");
        between(spoilt, num(&a, "n2_1_pct"), 0.0, 27.1);
        assert!(num(&a, "egt_1_c") < 40.0, "{spoilt}");
    }
    // Both engines one after the other, the second from the APU, too.
    let mut a = ready_to_start(1);
    assert!(start(&mut a, 1).is_some());
    assert!(start(&mut a, 2).is_some());
    // And a start from the running engine's bleed, with its lever advanced.
    let mut a = ready_to_start(1);
    assert!(start(&mut a, 1).is_some());
    set(&mut a, "apu_bleed=false bleed_1=true");
    wait(&mut a, 5.0);
    set(&mut a, "engine_start_2=start");
    assert_eq!(until(&mut a, 10.0, |a| truth(a, "start_valve_2")), None, "idle bleed is not enough");
    set(&mut a, "thrust_lever_1_pct=40");
    assert!(until(&mut a, 20.0, |a| truth(a, "start_valve_2")).is_some());
    assert!(start(&mut a, 2).is_some());
}

#[test]
fn bad_starts() {
    let begin = |fault: &str| {
        let mut a = ready_to_start(1);
        a.inject(fault).unwrap();
        set(&mut a, "engine_start_1=start");
        until(&mut a, 40.0, |a| num(a, "n2_1_pct") >= 22.0);
        set(&mut a, "fuel_lever_1=run");
        a
    };
    let mut a = begin("hot_start_1");
    let hot = until(&mut a, 30.0, |a| num(a, "egt_1_c") > 725.0).expect("too hot");
    between("seconds to the limit", hot, 4.0, 25.0);
    assert!(num(&a, "n2_1_pct") < 45.0, "still far from idle");
    set(&mut a, "fuel_lever_1=cutoff");
    wait(&mut a, 30.0);
    assert!(num(&a, "egt_1_c") < 250.0, "the starter blows it cool");
    between("keeps motoring", num(&a, "n2_1_pct"), 20.0, 30.0);
    let mut a = begin("no_light_off_1");
    wait(&mut a, 30.0);
    assert!(num(&a, "egt_1_c") < 40.0 && num(&a, "fuel_flow_1_kgh") > 100.0, "fuel but no flame");
    let a = begin("start_valve_stuck_1");
    assert!(!truth(&a, "start_valve_1") && num(&a, "n2_1_pct") == 0.0);
    // Fuel too early makes it hotter than fuel in time, beyond the limit.
    let peak = |at: f64| {
        let mut a = ready_to_start(1);
        set(&mut a, "engine_start_1=start");
        until(&mut a, 40.0, |a| num(a, "n2_1_pct") >= at);
        set(&mut a, "fuel_lever_1=run");
        let mut peak = 0.0_f64;
        while !truth(&a, "engine_running_1") {
            wait(&mut a, 0.1);
            peak = peak.max(num(&a, "egt_1_c"));
        }
        peak
    };
    assert!(peak(12.0) > peak(22.0) + 100.0);
    assert!(peak(12.0) > 725.0);
    // The starter cut too early leaves it hung.
    let mut a = ready_to_start(1);
    set(&mut a, "engine_start_1=start");
    until(&mut a, 40.0, |a| num(a, "n2_1_pct") >= 22.0);
    set(&mut a, "fuel_lever_1=run");
    until(&mut a, 40.0, |a| num(a, "n2_1_pct") >= 32.0).expect("32 %");
    set(&mut a, "engine_start_1=off");
    wait(&mut a, 60.0);
    assert!(!truth(&a, "engine_running_1") && num(&a, "n2_1_pct") < 33.0);
}

#[test]
fn power_comes_from_where_it_should() {
    let mut a = Aircraft::tarn_t2(1);
    wait(&mut a, 1.0);
    assert!(!truth(&a, "bus_powered"));
    set(&mut a, "battery=true");
    wait(&mut a, 1.0);
    assert!(!truth(&a, "bus_powered"), "the battery does not feed the main bus");
    set(&mut a, "external_power=true");
    wait(&mut a, 1.0);
    assert!(truth(&a, "bus_powered"));
    set(&mut a, "external_power_available=false");
    wait(&mut a, 1.0);
    assert!(!truth(&a, "bus_powered") && !truth(&a, "external_power"));
    // The APU: start springs to on, ready after about 35 s, its generator carries the bus.
    set(&mut a, "apu_switch=start apu_generator=true");
    wait(&mut a, 2.0);
    assert_eq!(word(&a, "apu_switch"), "on");
    let ready = until(&mut a, 60.0, |a| truth(a, "apu_available")).expect("APU");
    between("APU start", ready + 2.0, 34.0, 36.0);
    wait(&mut a, 0.1);
    assert!(truth(&a, "bus_powered") && truth(&a, "apu_generator_on_line"));
    set(&mut a, "apu_switch=off");
    wait(&mut a, 0.1);
    assert!(!truth(&a, "bus_powered") && !truth(&a, "apu_available"));
    // Without any power it does not start.
    let mut a = Aircraft::tarn_t2(1);
    set(&mut a, "apu_switch=start");
    wait(&mut a, 40.0);
    assert_eq!(num(&a, "apu_n_pct"), 0.0);
    // An engine's generator comes on line when the engine runs, not before.
    let mut a = ready_to_start(1);
    set(&mut a, "generator_1=true");
    wait(&mut a, 1.0);
    assert!(!truth(&a, "generator_on_line_1"));
    start(&mut a, 1).expect("start");
    set(&mut a, "apu_switch=off external_power=false");
    wait(&mut a, 1.0);
    assert!(truth(&a, "generator_on_line_1") && truth(&a, "bus_powered"));
    set(&mut a, "fuel_lever_1=cutoff");
    wait(&mut a, 1.0);
    assert!(!truth(&a, "bus_powered"));
}

#[test]
fn hydraulics_move_things() {
    let mut a = Aircraft::tarn_t2(1);
    set(&mut a, "battery=true flap_lever=12 column_pct=50 wheel_pct=-40 pedals_pct=30");
    wait(&mut a, 20.0);
    assert_eq!(num(&a, "flap_deg"), 0.0, "no pressure, no flaps");
    assert_eq!(num(&a, "elevator_pct"), 0.0);
    set(&mut a, "hyd_elec_pump_2=true");
    wait(&mut a, 10.0);
    assert_eq!(num(&a, "hyd_pressure_2_psi"), 0.0, "the pump has no power");
    set(&mut a, "external_power=true");
    let flaps = until(&mut a, 20.0, |a| num(a, "flap_deg") == 12.0).expect("flaps");
    between("flap travel with build-up of pressure", flaps, 6.0, 9.0);
    assert_eq!(num(&a, "elevator_pct"), 50.0);
    assert_eq!(num(&a, "aileron_pct"), -40.0);
    assert_eq!(num(&a, "rudder_pct"), 30.0);
    between("pressure", num(&a, "hyd_pressure_2_psi"), 2_900.0, 3_000.0);
    set(&mut a, "flap_lever=20");
    a.inject("flap_jam").unwrap();
    wait(&mut a, 10.0);
    assert_eq!(num(&a, "flap_deg"), 12.0);
    let mut a = ready_to_start(1);
    set(&mut a, "hyd_elec_pump_1=false");
    start(&mut a, 2).expect("start");
    wait(&mut a, 5.0);
    between("engine-driven", num(&a, "hyd_pressure_2_psi"), 2_950.0, 3_000.0);
    assert!(num(&a, "hyd_pressure_1_psi") < 100.0);
}

#[test]
fn fuel_comes_from_the_right_tank() {
    let mut a = Aircraft::tarn_t2(1);
    a.place(&Setup { place: Place::LinedUp, fuel_kg: 12_000.0, ..Setup::default() });
    let tanks = |a: &Aircraft| ["left", "right", "centre"].map(|t| num(a, &format!("fuel_{t}_kg")));
    assert_eq!(tanks(&a), [5_000.0, 5_000.0, 2_000.0]);
    wait(&mut a, 60.0);
    let [left, right, centre] = tanks(&a);
    assert_eq!([left, right], [5_000.0, 5_000.0]);
    between("a minute at idle from the centre", 2_000.0 - centre, 12.0, 17.0);
    set(&mut a, "fuel_pump_centre=false");
    wait(&mut a, 60.0);
    assert_eq!(tanks(&a)[2], centre);
    between("a minute at idle from the left", left - tanks(&a)[0], 6.0, 9.0);
    // Out of fuel: the engine stops.
    a.place(&Setup { place: Place::LinedUp, fuel_kg: 10.0, ..Setup::default() });
    wait(&mut a, 120.0);
    assert!(!truth(&a, "engine_running_1") && num(&a, "fuel_total_kg") == 0.0);
}

#[test]
fn fire_burns_until_its_fuel_is_cut() {
    let mut a = rolling(1, 0.0);
    a.inject("engine_fire_2").unwrap();
    wait(&mut a, 20.0);
    assert!(truth(&a, "engine_fire_2") && truth(&a, "master_caution") && !truth(&a, "engine_fire_1"));
    set(&mut a, "master_caution=false fuel_lever_2=cutoff");
    wait(&mut a, 5.0);
    assert!(truth(&a, "engine_fire_2") && !truth(&a, "engine_running_2"));
    wait(&mut a, 5.0);
    assert!(!truth(&a, "engine_fire_2"));
}

#[test]
fn standby_airspeed_is_another_instrument() {
    let mut a = rolling(4, 0.0);
    until(&mut a, 60.0, |a| num(a, "ias_kt") > 60.0).expect("60 kt");
    let offset = num(&a, "ias_standby_kt") - num(&a, "ias_kt");
    assert!(offset != 0.0 && offset.abs() < 0.7, "{offset}");
    a.inject("standby_stuck").unwrap();
    until(&mut a, 60.0, |a| num(a, "ias_kt") > 80.0).expect("80 kt");
    between("stuck", num(&a, "ias_standby_kt"), 59.0, 61.5);
}
