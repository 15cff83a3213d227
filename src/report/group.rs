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

/// An element and those with whom it is not steady.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Need {
    /// The element's id.
    pub element: String,
    /// Its name on paper.
    pub label: String,
    /// Names, in the class's order.
    pub students: Vec<String>,
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
            })
            .filter(|n| !n.students.is_empty())
            .collect();
        needs.sort_by_key(|n| std::cmp::Reverse(n.students.len()));
        Self {
            name: name.to_owned(),
            members,
            together,
            needs,
        }
    }
}
