//! Whose message it is, and of which kind, by its topic.
//! Never in here: what stands in it.

/// Beginning of every topic.
pub(in crate::source::mqtt) const NAMESPACE: &str = "spBv1.0";

/// Kinds of message that say something of a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verb {
    /// NBIRTH, DBIRTH.
    Birth,
    /// NDATA, DDATA.
    Data,
    /// NDEATH, DDEATH.
    Death,
}

/// A topic of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Topic<'t> {
    /// Group.
    pub group: &'t str,
    /// Edge node.
    pub node: &'t str,
    /// Device; none for the node itself.
    pub device: Option<&'t str>,
    /// What it is.
    pub verb: Verb,
}

impl<'t> Topic<'t> {
    /// `None` for commands, states and whatever is not of the standard.
    pub fn read(topic: &'t str) -> Option<Self> {
        let parts: Vec<&str> = topic.split('/').collect();
        let (verb, device) = match parts[..] {
            [NAMESPACE, _, word, _] if word.starts_with('N') => (word, None),
            [NAMESPACE, _, word, _, device] if word.starts_with('D') => (word, Some(device)),
            _ => return None,
        };
        let verb = match &verb[1..] {
            "BIRTH" => Verb::Birth,
            "DATA" => Verb::Data,
            "DEATH" => Verb::Death,
            _ => return None,
        };
        Some(Self {
            group: parts[1],
            node: parts[3],
            device,
            verb,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn topics_of_the_standard_are_told_apart_from_commands() {
        let topic = Topic::read("spBv1.0/barn/DDATA/gate/inv-1").expect("data");
        assert_eq!((topic.node, topic.device), ("gate", Some("inv-1")));
        assert_eq!(topic.verb, Verb::Data);
        for other in [
            "spBv1.0/barn/DCMD/gate/inv-1",
            "spBv1.0/STATE/host",
            "barn/DDATA/gate/x",
        ] {
            assert_eq!(Topic::read(other), None, "{other}");
        }
    }
}
