//! The `# key: value` lines before the heading row.

use super::Head;

impl Head {
    /// Takes one line without its `#`. Returns the words for a person where a known key has a value
    /// that cannot be used; the line is then kept among the others.
    pub(super) fn take(&mut self, line: &str) -> Option<String> {
        let (key, value) = match line.split_once(':') {
            Some((key, value)) => (key.trim(), value.trim().to_string()),
            None if line.trim().is_empty() => return None,
            None => ("", line.trim().to_string()),
        };
        let slot = match key.to_lowercase().as_str() {
            "carb1" => &mut self.carb1,
            "carb2" => &mut self.carb2,
            "engine" => &mut self.engine,
            "sensor" => &mut self.sensor,
            "started" => &mut self.started,
            "device" => &mut self.device,
            "baro_kpa" => return self.number(key, &value, |kpa| (50.0..=110.0).contains(&kpa)),
            "cylinders" => {
                return self.number(key, &value, |n| (1.0..=24.0).contains(&n) && n.fract() == 0.0);
            }
            "idle_target_rpm" => {
                return self.number(key, &value, |rpm| (100.0..=5000.0).contains(&rpm));
            }
            _ => {
                self.others.push((key.to_string(), value));
                return None;
            }
        };
        *slot = Some(value).filter(|v| !v.is_empty());
        None
    }

    fn number(&mut self, key: &str, value: &str, sane: impl Fn(f64) -> bool) -> Option<String> {
        let Some(number) = value.replace(',', ".").parse::<f64>().ok().filter(|n| sane(*n)) else {
            self.others.push((key.to_string(), value.to_string()));
            return Some(format!(
                "the header says \"{key}: {value}\", which is no possible value; it was left aside"
            ));
        };
        match key.to_lowercase().as_str() {
            "baro_kpa" => self.baro_kpa = Some(number),
            "cylinders" => self.cylinders = Some(number as u32),
            _ => self.idle_target_rpm = Some(number),
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_keys_are_typed_and_others_kept() {
        let mut head = Head::default();
        for line in [
            " baro_kpa: 100.8",
            "Cylinders: 4",
            "carb1: Front",
            "started: 2024-05-01T10:00:00Z",
            " hose: 6 mm",
            "",
        ] {
            assert_eq!(head.take(line), None, "{line}");
        }
        assert_eq!((head.baro_kpa, head.cylinders), (Some(100.8), Some(4)));
        assert_eq!(head.carb1.as_deref(), Some("Front"));
        assert_eq!(head.started.as_deref(), Some("2024-05-01T10:00:00Z"));
        assert_eq!(head.others, [("hose".to_string(), "6 mm".to_string())]);
    }

    #[test]
    fn impossible_values_are_said_and_kept_aside() {
        let mut head = Head::default();
        for line in ["baro_kpa: 1008", "cylinders: four", "cylinders: 2.5", "idle_target_rpm: NaN"]
        {
            assert!(head.take(line).is_some_and(|text| text.contains("left aside")), "{line}");
        }
        assert_eq!((head.baro_kpa, head.cylinders, head.others.len()), (None, None, 4));
    }
}
