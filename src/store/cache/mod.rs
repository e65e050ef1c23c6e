//! The store: a cache of whatever is worked out, by key. In memory for a page that stands open, on disk between runs.
//!
//! An entry goes stale in one way: nobody asks for its key any more. Both parts are bounded in bytes; what was used least recently is
//! evicted first, and on disk then what is least useful for its size.

mod disk;
mod memory;

pub use disk::FOLDER;

use crate::base::gate::{Gate, Pass};
use crate::base::key::Key;
use bytemuck::Pod;
use disk::Disk;
use memory::Memory;
use std::any::Any;
use std::fmt;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What can be held in memory by a key.
pub trait Entry: Any + Send + Sync {
    /// Bytes that it takes, about.
    fn bytes(&self) -> usize;
}

/// A value that is worked out, as it is found again on disk.
pub trait Stage {
    /// What is worked out.
    type Value: Entry;
    /// What its file is a list of.
    type Item: Pod;
    /// How the names of its files end.
    const KIND: &'static str;

    /// Key of all that it is made from.
    fn key(&self) -> Key;

    /// What its file holds, in parts one after the other.
    fn encode(&self, value: &Self::Value, write: impl FnOnce(&[&[Self::Item]]));

    /// The value from what its file holds; none if it can't be that.
    fn decode(&self, content: Vec<Self::Item>) -> Option<Self::Value>;
}

/// What several runs have in common: the memory of a store, in which one finds what another has drawn, and the bytes that they may hold
/// together. By default there is nothing.
#[derive(Clone, Default)]
pub struct Shared {
    memory: Option<Arc<Mutex<Memory>>>,
    gate: Option<Arc<Gate>>,
}

impl Shared {
    /// Of what nobody else holds the memory keeps `spare` bytes at most; runs that are at work together hold `all` at most.
    pub fn new(spare: usize, all: u64) -> Shared {
        let memory = Some(Arc::new(Mutex::new(Memory::new(spare))));
        Shared { memory, gate: Some(Arc::new(Gate::new(all))) }
    }

    /// Whether there is a memory.
    pub fn is_there(&self) -> bool {
        self.memory.is_some()
    }

    /// Waits until there are `bytes` for a run.
    pub fn pass(&self, bytes: u64) -> Option<Pass<'_>> {
        self.gate.as_ref().map(|gate| gate.pass(bytes))
    }
}

impl fmt::Debug for Shared {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Shared({})", self.memory.is_some())
    }
}

/// A cache of values by key.
#[derive(Default)]
pub struct Store {
    memory: Option<Arc<Mutex<Memory>>>,
    disk: Option<Disk>,
    /// Whether nothing is put on disk.
    sealed: bool,
    /// Whether what it holds is drawn again and again.
    redraws: bool,
}

impl Store {
    /// A store in memory, as for a page, which draws the same again and again. Of what nobody else holds it keeps `spare` bytes at most.
    pub fn in_memory(spare: usize) -> Store {
        Store { memory: Some(Arc::new(Mutex::new(Memory::new(spare)))), redraws: true, ..Store::default() }
    }

    /// The store in the hidden folder [`FOLDER`] of the output folder `outputs`, which is made when something is first put into it.
    pub fn in_folder(outputs: &Path) -> Store {
        Store { disk: Disk::new(outputs.join(FOLDER)), ..Store::default() }
    }

    /// The same with a memory that it has in common with other stores.
    pub fn sharing(self, shared: &Shared) -> Store {
        Store { memory: shared.memory.clone(), ..self }
    }

    /// The same, which only finds on disk and puts nothing there.
    pub fn sealed(self) -> Store {
        Store { sealed: true, ..self }
    }

    /// Bounds the bytes that it has on disk once it is brought back within its bounds.
    pub fn bound_disk(&self, most: u64) {
        if let Some(disk) = &self.disk {
            disk.bound(most);
        }
    }

    /// Most bytes that it has on disk then.
    pub fn most_on_disk(&self) -> u64 {
        self.disk.as_ref().map_or(0, Disk::most)
    }

    /// Whether it holds values in memory.
    pub fn is_in_memory(&self) -> bool {
        self.memory.is_some()
    }

    /// Whether what it holds is drawn again and again.
    pub fn redraws(&self) -> bool {
        self.redraws
    }

    /// Whether anything that is put into it goes to disk.
    pub fn is_on_disk(&self) -> bool {
        self.disk.is_some() && !self.sealed
    }

    fn memory(&self) -> Option<MutexGuard<'_, Memory>> {
        // Nothing is left half done under the lock.
        self.memory.as_ref().map(|memory| memory.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// The value under `key` in memory.
    pub fn get<V: Entry>(&self, key: Key) -> Option<Arc<V>> {
        self.memory()?.get(key)?.downcast().ok()
    }

    /// Puts a value into memory, in place of what was under `key`.
    pub fn put<V: Entry>(&self, key: Key, value: &Arc<V>) {
        if let Some(mut memory) = self.memory() {
            memory.put(key, value.bytes(), Arc::clone(value) as Arc<dyn Any + Send + Sync>);
        }
    }

    /// The value of a stage, from memory or else from disk.
    pub fn find<S: Stage>(&self, stage: &S) -> Option<Arc<S::Value>> {
        let key = stage.key();
        self.get(key).or_else(|| {
            let value = Arc::new(stage.decode(self.read(S::KIND, key)?)?);
            self.put(key, &value);
            Some(value)
        })
    }

    /// Puts what a stage has worked out into memory and, if `to_disk`, on disk.
    pub fn insert<S: Stage>(&self, stage: &S, value: S::Value, to_disk: bool) -> Arc<S::Value> {
        let (key, value) = (stage.key(), Arc::new(value));
        // Packing what nothing takes would cost more than many a value.
        if to_disk && self.is_on_disk() {
            stage.encode(&value, |parts| self.write(S::KIND, key, parts));
        }
        self.put(key, &value);
        value
    }

    /// Whether a stage's value is likely to be found without work.
    pub fn has<S: Stage>(&self, stage: &S) -> bool {
        let key = stage.key();
        self.get::<S::Value>(key).is_some() || self.has_file(S::KIND, key)
    }

    /// Whether a file is there, whatever it holds.
    pub fn has_file(&self, kind: &str, key: Key) -> bool {
        self.disk.as_ref().is_some_and(|disk| disk.has(kind, key))
    }

    /// The content of a file, if it is just what was written.
    pub fn read<T: Pod>(&self, kind: &str, key: Key) -> Option<Vec<T>> {
        self.disk.as_ref()?.read(kind, key)
    }

    /// Writes a file. Whatever stands in the way: what isn't there is worked out again.
    pub fn write<T: Pod>(&self, kind: &str, key: Key, parts: &[&[T]]) {
        if let Some(disk) = self.disk.as_ref().filter(|_| !self.sealed) {
            disk.write(kind, key, parts);
        }
    }

    /// Gives back all that it has on disk.
    pub fn clear_disk(&self) {
        if let Some(disk) = &self.disk {
            disk.clear();
        }
    }

    /// Brings both parts back within their bounds.
    pub fn evict(&self) {
        if let Some(mut memory) = self.memory() {
            memory.evict();
        }
        if let Some(disk) = &self.disk {
            disk.evict();
        }
    }
}
