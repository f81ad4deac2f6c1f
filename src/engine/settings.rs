//! What kind of engine, in what state of tune.

/// One of the two carburettors, with its tract.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Carburettor 1.
    One,
    /// Carburettor 2.
    Two,
}

impl Side {
    /// Both, in order.
    pub const BOTH: [Side; 2] = [Side::One, Side::Two];

    /// 0 or 1.
    pub fn index(self) -> usize {
        match self {
            Side::One => 0,
            Side::Two => 1,
        }
    }
}

/// Which cylinder fires when, and from which carburettor it draws.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// In-line four, firing order 1-3-4-2, carburettor 1 on cylinders 1 and 2, carburettor 2 on 3
    /// and 4: each side draws at 180 and 540 degrees.
    Four,
    /// In-line six, firing order 1-5-3-6-2-4, carburettor 1 on cylinders 1 to 3, carburettor 2 on
    /// 4 to 6: each side draws every 240 degrees.
    Six,
    /// V8 with a cross-plane crank, odd numbers on one bank and even ones on the other, firing order
    /// 1-8-4-3-6-5-7-2. The manifold has two planes, carburettor 1 on cylinders 1, 4, 6 and 7,
    /// carburettor 2 on 2, 3, 5 and 8, so that each side draws every 180 degrees. Numbering, order
    /// and manifold are common practice, no published source.
    Eight,
}

impl Layout {
    /// All of them, by the number of cylinders.
    pub const ALL: [Layout; 3] = [Layout::Four, Layout::Six, Layout::Eight];

    /// The cylinders by number (from 1) in the order in which they fire.
    pub fn firing_order(self) -> &'static [usize] {
        match self {
            Layout::Four => &[1, 3, 4, 2],
            Layout::Six => &[1, 5, 3, 6, 2, 4],
            Layout::Eight => &[1, 8, 4, 3, 6, 5, 7, 2],
        }
    }

    /// Number of cylinders.
    pub fn cylinders(self) -> usize {
        self.firing_order().len()
    }

    /// The carburettor of a cylinder, by number from 1.
    pub fn side(self, cylinder: usize) -> Side {
        let first: &[usize] = match self {
            Layout::Four => &[1, 2],
            Layout::Six => &[1, 2, 3],
            Layout::Eight => &[1, 4, 6, 7],
        };
        if first.contains(&cylinder) { Side::One } else { Side::Two }
    }
}

/// Slow swinging of the idle, as a mixture set badly gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hunting {
    /// Mean period, s.
    pub period_s: f64,
    /// Amplitude of the swing in torque, as a fraction.
    pub depth: f64,
}

/// Dimensions and state of tune. The default is a healthy warm 1.6 litre four with separate
/// tracts that idles near 850 rev/min at about 57 kPa.
///
/// Its figures are common practice, no published source, but for the idle: TM 10-3930-653-14&P,
/// paragraph 4-1-1, wants 430 mmHg, 57.3 kPa, at 650 rev/min of a sound four.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Cylinders, firing order and who draws from which carburettor.
    pub layout: Layout,
    /// Barometric pressure, Pa.
    pub baro_pa: f64,
    /// Temperature under the bonnet, K.
    pub ambient_k: f64,
    /// Swept volume of all cylinders, m3.
    pub swept_m3: f64,
    /// Compression ratio.
    pub compression: f64,
    /// Volume of each tract from throttle to valves, m3.
    pub tract_m3: f64,
    /// Temperature of the charge in the tracts, K.
    pub tract_k: f64,
    /// Effective area of each throttle on its stop screw, mm2.
    pub idle_area_mm2: [f64; 2],
    /// Effective area of each throttle that the whole travel of the linkage adds, mm2.
    pub linkage_area_mm2: [f64; 2],
    /// Travel of the linkage that is lost before each throttle moves, as a fraction.
    pub lost_motion: [f64; 2],
    /// Effective area of a pipe that joins the tracts, mm2; 0 for separate tracts.
    pub balance_pipe_mm2: f64,
    /// Effective area of a leak into each tract, mm2.
    pub tract_leak_mm2: [f64; 2],
    /// Equivalence ratio that each carburettor sets for the air that it meters (1 stoichiometric,
    /// more is richer).
    pub mixture: [f64; 2],
    /// Depression that the carburettors hold between slide and throttle, Pa.
    pub depression_pa: f64,
    /// Effective area of the breather passage to each carburettor, mm2.
    pub breather_mm2: f64,
    /// Effective area of the leaks of all crankcase seals, mm2.
    pub seal_leak_mm2: f64,
    /// Gas that passes the piston rings at idle, kg/s.
    pub blow_by: f64,
    /// Moment of inertia of everything that turns, kg m2.
    pub inertia: f64,
    /// Extra drag of the fan, N m at the crank.
    pub fan_nm: f64,
    /// Work on the piston that one kilogram of air gives at idle with the best mixture, J/kg.
    pub work: f64,
    /// Spread of the work from stroke to stroke (standard deviation over mean).
    pub stroke_spread: f64,
    /// Correlation of that spread from one working cycle of a cylinder to its next.
    pub stroke_memory: f64,
    /// Spread of the charge that a cylinder draws from stroke to stroke.
    pub draw_spread: f64,
    /// Spread of the slow wander of the work that all cylinders share.
    pub wander_spread: f64,
    /// Correlation time of the slow wander, s.
    pub wander_s: f64,
    /// Swinging of the idle.
    pub hunting: Option<Hunting>,
    /// Fall of friction as oil warms, as a fraction a second.
    pub warming: f64,
    /// Share of the normal charge that each cylinder draws, by number; missing ones draw all.
    pub draw: Vec<f64>,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            layout: Layout::Four,
            baro_pa: 101_325.0,
            ambient_k: 298.0,
            swept_m3: 1.6e-3,
            compression: 8.5,
            tract_m3: 1.5e-3,
            tract_k: 318.0,
            idle_area_mm2: [10.8, 10.8],
            linkage_area_mm2: [70.0, 70.0],
            lost_motion: [0.0, 0.0],
            balance_pipe_mm2: 0.0,
            tract_leak_mm2: [0.0, 0.0],
            mixture: [1.0, 1.0],
            depression_pa: 1_900.0,
            breather_mm2: 4.5,
            seal_leak_mm2: 0.3,
            blow_by: 8.0e-5,
            inertia: 0.22,
            fan_nm: 2.2,
            work: 4.1e5,
            stroke_spread: 0.075,
            draw_spread: 0.012,
            stroke_memory: 0.3,
            wander_spread: 0.005,
            wander_s: 2.5,
            hunting: None,
            warming: 0.0,
            draw: Vec::new(),
        }
    }
}

impl Settings {
    /// A healthy warm engine of this layout: the default four, or one of cylinders as large, with
    /// everything that goes with their number in proportion. It idles as the four does, with less
    /// ripple.
    pub fn of(layout: Layout) -> Settings {
        let four = Settings::default();
        let times = layout.cylinders() as f64 / four.layout.cylinders() as f64;
        Settings {
            layout,
            swept_m3: four.swept_m3 * times,
            tract_m3: four.tract_m3 * times,
            idle_area_mm2: four.idle_area_mm2.map(|area| area * times),
            linkage_area_mm2: four.linkage_area_mm2.map(|area| area * times),
            breather_mm2: four.breather_mm2 * times,
            seal_leak_mm2: four.seal_leak_mm2 * times,
            blow_by: four.blow_by * times,
            inertia: four.inertia * times,
            fan_nm: four.fan_nm * times,
            ..four
        }
    }

    /// The same engine without any random variation: every stroke like its forerunner. Its steady
    /// state is the mean about which the real one wanders.
    pub fn calm(&self) -> Settings {
        Settings {
            stroke_spread: 0.0,
            draw_spread: 0.0,
            wander_spread: 0.0,
            hunting: None,
            warming: 0.0,
            ..self.clone()
        }
    }
}
