//! What a process keeps beside the database for one of its rooms: at most one value of each type, put in by the composition
//! root, so that this room needs not know what it is.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::Arc;

/// One value of each of some types.
#[derive(Clone, Default)]
pub(super) struct Parts(HashMap<TypeId, Arc<dyn Any + Send + Sync>>);

impl Parts {
    /// Adds a value, in place of one of its type that is there.
    pub(super) fn put<T: Any + Send + Sync>(&mut self, part: T) {
        self.0.insert(TypeId::of::<T>(), Arc::new(part));
    }

    /// The value of a type, if there is one.
    pub(super) fn get<T: Any + Send + Sync>(&self) -> Option<&T> {
        self.0.get(&TypeId::of::<T>())?.downcast_ref()
    }
}
