//! `levels.html`: one page to look over all levels of a run.

use super::render::{Done, Part};
use super::{args, levels, say, show};
use fogweft::base::door::Door;
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::base::mark::{self, Form};
use fogweft::plan::{Demand, haze};
use fogweft::review::check;
use fogweft::review::levels::{Card, Verdict, address, page};
use fogweft::scene::Scene;
use fogweft::scene::pictures::Pictures;
use fogweft::stack::Stack;
use fogweft::store::maker::{Maker, Request};
use fogweft::store::run::{Inspector, Options, Report};
use std::fs;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

/// The page's file name.
const NAME: &str = "levels.html";
/// Most bytes of an earlier page that are read.
const MOST_BYTES: u64 = 16 << 20;

/// What was found of the stacks that a run made, by scale.
pub type Checked = Arc<Mutex<Vec<(f64, check::Report)>>>;

/// The page of a run, and what an earlier one says.
pub struct Overview {
    folder: PathBuf,
    door: Door,
    earlier: String,
}

impl Overview {
    /// The page of a run over several levels; none of one level.
    ///
    /// # Errors
    /// Class `Output`: something stands there that this program didn't write.
    pub fn of(args: &args::Render, scenes: &[PathBuf]) -> Result<Option<Overview>> {
        if scenes.len() < 2 {
            return Ok(None);
        }
        let folder = levels::common(args.out.as_deref(), &args.levels.levels, scenes);
        let door = Door { replace: args.replace, inputs: scenes.to_vec() };
        let path = folder.join(NAME);
        door.look(&path)?;
        let short = fs::metadata(&path).is_ok_and(|data| data.len() <= MOST_BYTES);
        let ours = short && mark::is_marked(&path);
        let earlier = if ours { fs::read_to_string(&path).unwrap_or_default() } else { String::new() };
        Ok(Some(Overview { folder, door, earlier }))
    }

    /// Looks at what a run of `scene` makes, while it is there.
    ///
    /// # Errors
    /// Those of sampling the haze.
    pub fn inspect(scene: &Scene, pictures: &Pictures, options: &Options) -> Result<(Inspector, Checked)> {
        let scene = haze::sampled(scene, pictures, &options.limits)?.into_owned();
        let checked = Checked::default();
        let found = Checked::clone(&checked);
        let look = move |stack: &Stack<'_>| {
            let report = check::check_stack(&scene, stack);
            // Nothing is left half done under the lock.
            let mut found = found.lock().unwrap_or_else(PoisonError::into_inner);
            found.push((stack.plan().scale.0, report));
        };
        Ok((Inspector::new(look), checked))
    }

    /// What the check finds of a level as it was rendered: what an earlier page says of the same, what was `checked` meanwhile, else by
    /// looking.
    ///
    /// # Errors
    /// Those of drawing it.
    pub fn verdict(
        &self,
        scene: &Scene,
        pictures: &Pictures,
        report: &Report,
        options: &Options,
        checked: &Checked,
    ) -> Result<Verdict> {
        // The value view is made of all that the check looks at, but for its limits.
        let seen = report.manifest.values.as_ref().map(|values| values.made_of.clone()).unwrap_or_default();
        let key = format!("{seen}-{}", limits_word(&format!("{:?}", scene.check)));
        if let Some(known) = Verdict::known(&self.earlier, &key).filter(|_| !seen.is_empty()) {
            return Ok(known);
        }
        let scale = report.plan.scale.0;
        let found = checked.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, report)) = found.iter().find(|(of, _)| *of == scale) {
            return Ok(Verdict::new(key, report));
        }
        drop(found);
        let _pass = options.shared.pass(report.plan.memory(&Demand::default(), &options.limits));
        let scene = &*haze::sampled(scene, pictures, &options.limits)?;
        let (cameras, store) = (report.plan.cameras(), options.store(&report.folder).sealed());
        let mut stack = Stack::empty(&report.plan);
        let request = Request { bits: options.bits, ..Request::all(&report.plan, pictures, &cameras) };
        Maker::new(&store, &options.limits).fill(&mut stack, &request)?;
        Ok(Verdict::new(key, &check::check_stack(scene, &stack)))
    }

    /// Writes the page of all levels that could be rendered.
    ///
    /// # Errors
    /// As for [`Door::write`].
    pub fn write(&self, args: &args::Render, scenes: &[PathBuf], results: &[Result<Done>]) -> Result<()> {
        let mut cards = Vec::new();
        for (name, result) in levels::names(scenes).iter().zip(results) {
            cards.extend(result.iter().flat_map(|done| &done.parts).filter_map(|part| self.card(name, part)));
        }
        if cards.is_empty() {
            return Ok(());
        }
        fs::create_dir_all(&self.folder).map_err(|error| {
            Fault::new(Class::Output, format!("the folder can't be made: {error}")).in_file(&self.folder)
        })?;
        let path = self.folder.join(NAME);
        self.door.write(&path, Form::Page, page(&cards).as_bytes())?;
        if !args.quiet {
            say(&format!("{}: open it in a browser to look over all of them\n", path.display()));
        }
        Ok(())
    }

    fn card(&self, name: &str, part: &Part) -> Option<Card> {
        let report = &part.report;
        let scale = report.plan.scale.0;
        let scaled = if scale == 1.0 { String::new() } else { format!(", scale {scale}") };
        Some(Card {
            level: name.to_owned(),
            mood: part.mood.clone(),
            folder: address(&levels::absolute(&self.folder), &levels::absolute(&report.folder)),
            size: format!("{}{scaled}", show::own_files(report)),
            verdict: part.verdict.clone()?,
        })
    }
}

/// Limits in a word that stands in an attribute.
fn limits_word(limits: &str) -> String {
    limits.chars().filter(|sign| sign.is_ascii_alphanumeric() || ".-".contains(*sign)).collect()
}
