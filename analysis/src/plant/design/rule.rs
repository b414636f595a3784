//! What is checked, in which unit, by which rule; one row each.
//! Never in here: how a number is worked out, or what it is held against.

/// Which side of a limit is good.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Good {
    /// The limit and below.
    UpTo,
    /// The limit and above.
    AtLeast,
}

macro_rules! checks {
    ($($variant:ident $name:literal $unit:literal $good:ident $rule:literal;)*) => {
        /// What is checked.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Check {
            $(#[doc = $rule] $variant,)*
        }

        impl Check {
            /// Name in reports.
            pub const fn name(self) -> &'static str {
                match self { $(Check::$variant => $name,)* }
            }

            /// Unit of value, limit and margin; empty for ratios.
            pub const fn unit(self) -> &'static str {
                match self { $(Check::$variant => $unit,)* }
            }

            /// Which side of the limit is good.
            pub const fn good(self) -> Good {
                match self { $(Check::$variant => Good::$good,)* }
            }

            /// The rule, the standard behind it, and whether it is common practice only.
            pub const fn rule(self) -> &'static str {
                match self { $(Check::$variant => $rule,)* }
            }
        }
    };
}

checks! {
    ColdestVoc "open-circuit voltage, coldest" "V" UpTo
        "N Voc (1 + beta (Tmin - 25)) up to the highest DC voltage of the inverter; IEC 62548, \
         AS/NZS 5033: voltage corrected to the lowest temperature with the module's coefficient \
         (clause from memory, verify). The rules of an installation may set a lower limit than \
         the inverter.";
    ColdestVocByFactor "open-circuit voltage, by factor" "V" UpTo
        "N Voc times the factor for the lowest temperature, for crystalline silicon; table of \
         AS/NZS 5033, IEC 62548 and NEC 690.7 (from memory, verify). Stands in where no \
         coefficient is known, so above the limit it is a reason to look, not a fault.";
    HottestVmp "voltage at maximum power, hottest" "V" AtLeast
        "N Vmp (1 + (gamma - alpha) (Tmax - 25)) at or above the lower end of the tracking \
         window; first-order estimate, common practice. It lies a little under the one-diode \
         value.";
    ColdestVmp "voltage at maximum power, coldest" "V" UpTo
        "N Vmp (1 + (gamma - alpha) (Tmin - 25)) up to the upper end of the tracking window; \
         above it energy is lost on cold clear mornings; common practice.";
    StartVoltage "open-circuit voltage at 50 W/m2, 10 degC" "V" AtLeast
        "N (Voc (1 + beta (10 - 25)) + Ns (k T / q) ln(50/1000)) at or above the start voltage, \
         so that it starts in early light; one-diode slope with ideality 1, common practice.";
    ShortCircuitCurrent "1.25 Isc of all strings" "A" UpTo
        "1.25 times the short-circuit current of the strings in parallel up to the short-circuit \
         rating of the input; IEC 62548, AS/NZS 5033 (factor as printed in a module manual; \
         clause from memory, verify).";
    LargestModuleIsc "largest Isc of its modules" "A" UpTo
        "The same read backwards: with this many strings the input takes modules of up to 0.8 \
         times its short-circuit rating over the number of strings.";
    OperatingCurrent "Imp of all strings" "A" UpTo
        "Current at maximum power of the strings in parallel up to the operating current of the \
         tracker; above it energy is lost, nothing breaks; common practice.";
    UnequalStrings "spread of Voc of parallel strings" "" UpTo
        "(largest - smallest) / largest of the strings' open-circuit voltage; parallel strings \
         are of one length and module type, and 5 % is the most that is accepted (common \
         practice, AS/NZS 5033 from memory, verify).";
    Planes "planes on one input" "planes" UpTo
        "Strings in parallel share one plane; on several planes the tracker finds no common peak \
         and the strings cannot be compared; common practice.";
    ReverseCurrent "reverse current into one string" "A" UpTo
        "(strings - 1) Isc: with three strings or more it may pass the series fuse rating on the \
         module's datasheet, and then every string needs overcurrent protection; IEC 62548, \
         AS/NZS 5033 (from memory, verify). The site file has no fuse rating, so look it up.";
    DcAcRatio "DC over AC rating" "" UpTo
        "Rated power of the modules over rated power of the inverter; up to 1.33 is common \
         practice (a former subsidy rule, from memory, verify), above it expect clipping and \
         check the inverter's manual.";
}
