//! What is still to be done at a level of the search, in one order.

use super::Job;
use std::collections::BinaryHeap;

pub(super) struct Item {
    pub(super) priority: f32,
    /// Earlier first where priorities are equal: the search has one order.
    order: usize,
    pub(super) job: Job,
}

impl PartialEq for Item {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == std::cmp::Ordering::Equal
    }
}
impl Eq for Item {}
impl PartialOrd for Item {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Item {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.priority
            .total_cmp(&other.priority)
            .then(other.order.cmp(&self.order))
    }
}

/// What is still to be done at a level, the most promising first.
#[derive(Default)]
pub(super) struct Queue {
    pub(super) items: BinaryHeap<Item>,
    pushed: usize,
}

impl Queue {
    pub(super) fn push(&mut self, priority: f32, job: Job) {
        if priority.is_finite() {
            self.pushed += 1;
            self.items.push(Item {
                priority,
                order: self.pushed,
                job,
            });
        }
    }
}
