//! A class's figures.

use super::Scope;
use super::figures::Figures;
use crate::logbook::Practised;
use serde::Serialize;
use std::collections::HashMap;
use uuid::Uuid;

/// A class: everybody's figures and those of all together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// The class's name.
    pub name: String,
    /// By name.
    pub members: Vec<Member>,
    /// All of them together.
    pub together: Figures,
    /// Who needs practice on what, most needed first.
    pub needs: Vec<Need>,
}

/// One student of a class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Member {
    /// The student's id.
    pub id: Uuid,
    /// The student's name.
    pub name: String,
    /// The student's figures.
    pub figures: Figures,
}

/// An element, those with whom it is not steady, and those who missed it lately.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Need {
    /// The element's id.
    pub element: String,
    /// Its name on paper.
    pub label: String,
    /// Names of those of whom enough calls say that it is not steady, in the class's order.
    pub students: Vec<String>,
    /// Who missed it in the latest calls, however few, the largest part first.
    pub missed: Vec<Missed>,
}

/// How often somebody missed an element lately.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Missed {
    /// The name.
    pub student: String,
    /// Calls in which it was wrong or missing.
    pub times: u64,
    /// Of so many.
    pub of: u64,
}

impl Missed {
    fn part(&self) -> f64 {
        self.times as f64 / self.of.max(1) as f64
    }
}

/// Who missed an element lately.
fn missed(members: &[Member], element: &str) -> Vec<Missed> {
    let of = |m: &Member| {
        let line = m.figures.elements.iter().find(|x| x.element == element)?;
        let share = line.lately.missed()?;
        Some(Missed {
            student: m.name.clone(),
            times: share.came,
            of: share.of,
        })
    };
    let mut missed: Vec<Missed> = members.iter().filter_map(of).collect();
    missed.sort_by(|a, b| b.part().total_cmp(&a.part()));
    missed
}

impl Group {
    /// From the members' names and everybody's attempts, oldest first; attempts of others are left out.
    pub fn new(scope: &Scope<'_>, name: &str, members: &[(Uuid, String)], rows: &[Practised]) -> Self {
        let mut by_student: HashMap<Uuid, Vec<&Practised>> = members.iter().map(|(id, _)| (*id, Vec::new())).collect();
        let mut all = Vec::new();
        for row in rows {
            if let Some(of_student) = row.student.and_then(|id| by_student.get_mut(&id)) {
                of_student.push(row);
                all.push(row);
            }
        }
        let members: Vec<Member> = members
            .iter()
            .map(|(id, name)| Member {
                id: *id,
                name: name.clone(),
                figures: Figures::new(scope, by_student.get(id).into_iter().flatten().copied()),
            })
            .collect();
        let together = Figures::new(scope, all);
        let mut needs: Vec<Need> = together
            .elements
            .iter()
            .map(|e| Need {
                element: e.element.clone(),
                label: e.label.clone(),
                students: members
                    .iter()
                    .filter(|m| m.figures.not_steady().any(|x| x.element == e.element))
                    .map(|m| m.name.clone())
                    .collect(),
                missed: missed(&members, &e.element),
            })
            .filter(|n| !n.students.is_empty() || !n.missed.is_empty())
            .collect();
        let worst = |n: &Need| n.missed.first().map_or(0.0, Missed::part);
        needs.sort_by(|a, b| (b.students.len().cmp(&a.students.len())).then(worst(b).total_cmp(&worst(a))));
        Self {
            name: name.to_owned(),
            members,
            together,
            needs,
        }
    }
}
