//! What was found for many people, told once.

use super::Finding;

/// Names that are told before the rest is only counted.
const NAMED: usize = 12;

/// Findings of several people as they are told to whoever asked for all of them: what is alike is one finding that names
/// the people, in the order in which it was first found. What is the same for everybody names nobody. Each person's own
/// findings stay whole for that person's sheet.
pub fn gathered(people: &[(String, Vec<Finding>)]) -> Vec<Finding> {
    let mut groups: Vec<Group> = Vec::new();
    for (index, (_, findings)) in people.iter().enumerate() {
        let mut said: Vec<&str> = Vec::new();
        for finding in findings {
            match finding.gist.as_ref().map(|gist| gist.says).filter(|_| people.len() > 1) {
                None => one(&mut groups, index, finding),
                Some(says) if said.contains(&says) => {}
                Some(says) => {
                    said.push(says);
                    of_gist(&mut groups, index, says, findings);
                }
            }
        }
    }
    let names: Vec<&str> = people.iter().map(|(name, _)| name.as_str()).collect();
    groups.into_iter().flat_map(|group| group.told(&names)).collect()
}

/// Findings that are told together.
struct Group {
    people: Vec<usize>,
    /// As the first of these people has them; one where there is no gist.
    findings: Vec<Finding>,
    gist: Option<&'static str>,
}

/// Puts a person's finding where it belongs.
fn one(groups: &mut Vec<Group>, person: usize, finding: &Finding) {
    let like = |group: &&mut Group| group.gist.is_none() && same(&group.findings[0], finding);
    match groups.iter_mut().find(like) {
        Some(group) if group.people.contains(&person) => {}
        Some(group) => group.people.push(person),
        None => groups.push(Group { people: vec![person], findings: vec![finding.clone()], gist: None }),
    }
}

/// Puts all of a person's findings that say the same where they belong.
fn of_gist(groups: &mut Vec<Group>, person: usize, says: &'static str, findings: &[Finding]) {
    let own = |finding: &&Finding| finding.gist.as_ref().is_some_and(|gist| gist.says == says);
    let findings: Vec<Finding> = findings.iter().filter(own).cloned().collect();
    let like = |group: &&mut Group| group.gist == Some(says) && alike(&group.findings, &findings);
    match groups.iter_mut().find(like) {
        Some(group) => group.people.push(person),
        None => groups.push(Group { people: vec![person], findings, gist: Some(says) }),
    }
}

fn same(a: &Finding, b: &Finding) -> bool {
    a.severity == b.severity && a.message == b.message && a.hint == b.hint && a.place() == b.place()
}

/// Whether two people's findings of one gist are of the same things, and advise the same.
fn alike(a: &[Finding], b: &[Finding]) -> bool {
    let same = |(a, b): (&Finding, &Finding)| {
        a.gist == b.gist && a.severity == b.severity && a.hint == b.hint && a.file == b.file
    };
    a.len() == b.len() && a.iter().zip(b).all(same)
}

impl Group {
    fn told(self, names: &[&str]) -> Vec<Finding> {
        let who = named(&self.people.iter().map(|index| names[*index]).collect::<Vec<_>>());
        let first = &self.findings[0];
        match self.gist {
            // One person's own words say more.
            Some(_) if self.people.len() == 1 => self.findings,
            Some(says) => {
                let what: Vec<&str> = self.findings.iter().filter_map(|f| Some(&*f.gist.as_ref()?.of)).collect();
                let message = format!("{says} for {who}: {}", what.join(", "));
                vec![Finding { message, gist: None, ..first.clone() }]
            }
            None if self.people.len() == names.len() || first.message.starts_with(&format!("{who}:")) => self.findings,
            None => vec![Finding { message: format!("{} (for {who})", first.message), ..first.clone() }],
        }
    }
}

/// The names in a row; what several begin with, as sizes do with their table's name, is said with the first of them.
fn named(names: &[&str]) -> String {
    let mut names = names.to_vec();
    let shared = if names.len() > 2 { shared(&names) } else { 0 };
    names.iter_mut().skip(1).for_each(|name| *name = &name[shared..]);
    match &names[..] {
        [named @ .., last] if !named.is_empty() && names.len() <= NAMED => format!("{} and {last}", named.join(", ")),
        names if names.len() <= NAMED => names.concat(),
        names => format!("{} and {} more", names[..NAMED].join(", "), names.len() - NAMED),
    }
}

/// How many bytes of whole words all names begin with.
fn shared(names: &[&str]) -> usize {
    let ends = names[0].match_indices(' ').map(|(at, _)| at + 1);
    ends.take_while(|end| names.iter().all(|name| name.starts_with(&names[0][..*end]))).last().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimated(person: &str, what: &'static str) -> Finding {
        Finding::warning(format!("{person}: the {what} is estimated, 10 in")).gist("estimated", what)
    }

    fn messages(people: &[(&str, Vec<Finding>)]) -> Vec<String> {
        let people: Vec<_> = people.iter().map(|(name, found)| ((*name).to_owned(), found.clone())).collect();
        gathered(&people).into_iter().map(|finding| finding.message).collect()
    }

    #[test]
    fn like_findings_are_told_once_with_names() {
        let own = |person| vec![estimated(person, "neck"), estimated(person, "wrist"), Finding::warning("not square")];
        let told = messages(&[("36", own("36")), ("38", own("38")), ("40", vec![Finding::warning("not square")])]);
        assert_eq!(told, ["estimated for 36 and 38: neck, wrist", "not square"]);
    }

    #[test]
    fn sizes_are_not_called_by_their_tables_name_over_and_over() {
        assert_eq!(named(&["EN 5 36", "EN 5 38", "EN 5 40"]), "EN 5 36, 38 and 40");
        assert_eq!(named(&["Ida Fell", "Ida Holt"]), "Ida Fell and Ida Holt");
        assert_eq!(named(&["Ida Fell", "Ida Holt", "Maren"]), "Ida Fell, Ida Holt and Maren");
        assert_eq!(named(&["Maren"]), "Maren");
        let many: Vec<String> = (0..15).map(|size| format!("T {size}")).collect();
        let many: Vec<&str> = many.iter().map(String::as_str).collect();
        assert_eq!(named(&many), "T 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 and 3 more");
    }

    #[test]
    fn what_differs_stays_apart() {
        let told = messages(&[
            ("Maren", vec![estimated("Maren", "neck"), Finding::note("long"), Finding::note("long")]),
            ("Pip", vec![estimated("Pip", "wrist"), Finding::warning("long")]),
        ]);
        let maren = "Maren: the neck is estimated, 10 in";
        assert_eq!(told, [maren, "long (for Maren)", "Pip: the wrist is estimated, 10 in", "long (for Pip)"]);
        let piece = |name: &str| Finding::warning("short").piece(name);
        assert_eq!(messages(&[("Maren", vec![piece("Front"), piece("Back")])]), ["short", "short"]);
        // A name that is part of a word is not yet said, and what stands in two files is not in one.
        assert_eq!(messages(&[("an", vec![piece("Hand")]), ("Ida", vec![])]), ["short (for an)"]);
        let own = |person: &str| vec![estimated(person, "neck").in_file(format!("{person}.measures.kdl"))];
        assert_eq!(messages(&[("Ida", own("Ida")), ("Pip", own("Pip"))]).len(), 2);
    }

    #[test]
    fn one_person_is_told_everything_in_its_order() {
        let told = messages(&[("Ida", vec![estimated("Ida", "neck"), Finding::note("long"), Finding::note("long")])]);
        assert_eq!(told, ["Ida: the neck is estimated, 10 in", "long"]);
    }
}
