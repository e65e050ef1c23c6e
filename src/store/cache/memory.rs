//! The store's part in memory.

use crate::base::key::Key;
use std::any::Any;
use std::collections::HashMap;
use std::sync::Arc;

struct Item {
    value: Arc<dyn Any + Send + Sync>,
    bytes: usize,
    used: u64,
}

/// A value that nobody but the store holds, under all of its keys: evicting it under some of them would free nothing.
struct Spare {
    keys: Vec<Key>,
    bytes: usize,
    used: u64,
    /// How many hold it.
    holders: usize,
}

/// Values by key.
pub(super) struct Memory {
    items: HashMap<Key, Item>,
    /// Most bytes of what nobody else holds.
    spare: usize,
    /// Counts up with every use.
    clock: u64,
    /// Bytes that were put into it since it was last brought within its bound.
    fresh: usize,
}

impl Memory {
    pub fn new(spare: usize) -> Memory {
        Memory { items: HashMap::new(), spare, clock: 0, fresh: 0 }
    }

    pub fn get(&mut self, key: Key) -> Option<Arc<dyn Any + Send + Sync>> {
        let item = self.items.get_mut(&key)?;
        self.clock += 1;
        item.used = self.clock;
        Some(Arc::clone(&item.value))
    }

    pub fn put(&mut self, key: Key, bytes: usize, value: Arc<dyn Any + Send + Sync>) {
        self.clock += 1;
        self.items.insert(key, Item { value, bytes, used: self.clock });
        self.fresh += bytes;
        if self.fresh > self.spare {
            self.evict();
        }
    }

    /// Evicts what was used least recently until what nobody else holds is within the bound.
    pub fn evict(&mut self) {
        self.fresh = 0;
        loop {
            let mut spare = self.spare();
            spare.sort_unstable_by_key(|value| value.used);
            let mut over = spare.iter().map(|value| value.bytes).sum::<usize>().saturating_sub(self.spare);
            if over == 0 {
                return;
            }
            for value in spare {
                if over == 0 {
                    break;
                }
                for key in value.keys {
                    self.items.remove(&key);
                }
                over = over.saturating_sub(value.bytes);
            }
            // A sheet that went may have been the last to hold its planes.
        }
    }

    fn spare(&self) -> Vec<Spare> {
        let mut values: HashMap<*const u8, Spare> = HashMap::new();
        for (key, Item { value, bytes, used }) in &self.items {
            let new = || Spare { keys: Vec::new(), bytes: 0, used: 0, holders: Arc::strong_count(value) };
            let own = values.entry(Arc::as_ptr(value).cast()).or_insert_with(new);
            own.keys.push(*key);
            (own.bytes, own.used) = (own.bytes.max(*bytes), own.used.max(*used));
        }
        values.into_values().filter(|value| value.holders == value.keys.len()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::key::KeyWriter;

    fn key(number: u64) -> Key {
        KeyWriter::new("test").part("number", &number).key()
    }

    #[test]
    fn the_least_recently_used_goes_first_and_what_is_held_stays() {
        let mut memory = Memory::new(100);
        let held: Arc<dyn Any + Send + Sync> = Arc::new(0_u8);
        memory.put(key(0), 1000, Arc::clone(&held));
        for number in 1..=5 {
            memory.put(key(number), 20, Arc::new(number));
        }
        assert!(memory.get(key(1)).is_some());
        memory.put(key(6), 20, Arc::new(6));
        let there: Vec<u64> = (0..=6).filter(|number| memory.items.contains_key(&key(*number))).collect();
        assert_eq!(there, [0, 1, 3, 4, 5, 6]);
        drop(held);
        memory.evict();
        assert!(!memory.items.contains_key(&key(0)));
    }

    #[test]
    fn what_stands_under_two_keys_goes_from_both_once_nobody_else_holds_it() {
        let mut memory = Memory::new(60);
        let value: Arc<dyn Any + Send + Sync> = Arc::new(0_u8);
        memory.put(key(0), 50, Arc::clone(&value));
        memory.put(key(1), 50, Arc::clone(&value));
        memory.put(key(2), 40, Arc::new(2_u8));
        memory.evict();
        assert_eq!(memory.items.len(), 3, "it is held, and the other is within the bound");
        drop(value);
        memory.evict();
        assert_eq!(memory.items.keys().collect::<Vec<_>>(), [&key(2)]);
    }

    #[test]
    fn what_another_entry_held_goes_once_that_has_gone() {
        let mut memory = Memory::new(0);
        let plane: Arc<dyn Any + Send + Sync> = Arc::new(1_u8);
        memory.put(key(1), 50, Arc::clone(&plane));
        memory.put(key(2), 60, Arc::new(plane));
        memory.evict();
        assert!(memory.items.is_empty());
    }
}
