//! Where the link to the box was down: nothing was measured there, whatever stands on both sides.

use crate::sample::{Mark, Meaning};

/// The stretches of a log without a link, s, in the order of time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Outages(Vec<(f64, f64)>);

impl Outages {
    /// From `link lost` to the next `link back`. One without the other is a moment: which samples it
    /// parts is known, and no more.
    pub fn of(marks: &[Mark]) -> Outages {
        let mut found: Vec<(f64, f64)> = Vec::new();
        let mut lost: Option<f64> = None;
        for mark in marks {
            match mark.meaning {
                Meaning::LinkLost => lost = lost.or(Some(mark.at.0)),
                Meaning::LinkBack => {
                    let from_s = lost.take().unwrap_or_else(|| mark.at.0.next_down());
                    found.push((from_s, mark.at.0.max(from_s.next_up())));
                }
                _ => {}
            }
        }
        found.extend(lost.map(|at_s| (at_s, at_s.next_up())));
        Outages(found)
    }

    /// True where the link was there all the time.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// True where the link was down at some time between two samples. A mark on a sample stands for
    /// it: the link is lost behind it, and back with it.
    #[inline]
    pub fn part(&self, before_s: f64, after_s: f64) -> bool {
        // Outages do not overlap, so that the first that ends behind the sample decides.
        let next = self.0.partition_point(|(_, to_s)| *to_s <= before_s);
        self.0.get(next).is_some_and(|(from_s, _)| *from_s < after_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn outages(marks: &[(f64, &str)]) -> Outages {
        let marks: Vec<Mark> =
            marks.iter().map(|(at_s, text)| Mark::read(Seconds(*at_s), text)).collect();
        Outages::of(&marks)
    }

    /// The samples at whole seconds behind which the link was down.
    fn parted(marks: &[(f64, &str)]) -> Vec<usize> {
        let outages = outages(marks);
        (0..12).filter(|k| outages.part(*k as f64, (*k + 1) as f64)).collect()
    }

    #[test]
    fn samples_on_both_sides_of_an_outage_are_parted_and_no_others() {
        let (lost, back) = ("link lost", "link back");
        assert_eq!(parted(&[]), [0; 0]);
        assert_eq!(parted(&[(2.5, lost), (5.5, back)]), [2, 3, 4, 5]);
        // On samples: lost behind one, back with the other.
        assert_eq!(parted(&[(2.0, lost), (3.0, back)]), [2]);
        assert_eq!(parted(&[(2.0, lost), (2.0, back)]), [2]);
        assert_eq!(parted(&[(2.1, lost), (2.2, lost), (2.4, back), (7.5, lost)]), [2, 7]);
        assert_eq!(parted(&[(7.0, lost)]), [7]);
        assert_eq!(parted(&[(4.0, back), (4.2, "cap off")]), [3]);
    }
}
