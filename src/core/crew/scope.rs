//! Where the engine's conditions and sentences find their values.

use super::{Crew, Slots};
use crate::core::aircraft::Value;
use crate::core::book::expr::{Name, Scope};
use crate::core::book::schema::Template;

/// The engine's view of names, with the slots of one call and the wanted value of one control bound.
pub(super) struct View<'a> {
    crew: &'a Crew,
    slots: &'a Slots,
    to: Option<&'a Value>,
}

impl Scope for View<'_> {
    fn value(&self, name: &Name) -> Option<Value> {
        let crew = self.crew;
        match name {
            Name::Signal(id) => {
                let stale = crew.book.signals.get(id.0 as usize)?.stale_after_s;
                crew.state.fresh(*id, crew.at, stale).cloned()
            }
            Name::Sheet(i) => crew.sheet.get(*i as usize)?.clone(),
            Name::Slot(name) => self.slots.get(name).cloned(),
            Name::Done(id) | Name::Said(id) => Some(Value::Bool(crew.done.contains(id))),
            Name::To => self.to.cloned(),
            Name::Phase => Some(Value::Word(crew.phase().to_string())),
            Name::Last(control) => crew.last_set.get(control).cloned(),
        }
    }
}

impl Crew {
    pub(super) fn scope<'a>(&'a self, slots: &'a Slots, to: Option<&'a Value>) -> View<'a> {
        View { crew: self, slots, to }
    }

    /// A book's sentence with its values.
    pub(super) fn text(&self, template: &Template, slots: &Slots, to: Option<&Value>) -> String {
        template.say(&self.scope(slots, to), &|_| None)
    }

    /// One of the engine's own sentences, with its holes filled.
    pub(super) fn wording(&self, key: &str, holes: &[(&str, &str)]) -> String {
        let Some(template) = self.book.wording.get(key) else { return String::new() };
        let fill = |hole: &str| holes.iter().find(|(name, _)| *name == hole).map(|(_, text)| (*text).to_string());
        template.say(&self.scope(&Slots::new(), None), &fill)
    }
}
