//! The engine of a plant as it begins: where the store says that it stood, or afresh with what was learned.
//! Never in here: a step.

use super::AnalyseError;
use super::waiting::Waiting;
use crate::store::{EngineState as SavedState, Store};
use analysis::engine::{
    Engine, EngineError, EngineState, STATE_VERSION, morning_still_holds, still_holds,
};
use analysis::plant::Plant;
use std::sync::Arc;
use tracing::warn;

/// The engine; what stood and is watched no more waits for the store.
pub(super) fn engine(
    plant: Arc<Plant>,
    store: &Store,
    waiting: &mut Waiting,
) -> Result<Engine, AnalyseError> {
    let Some(saved) = store.load_engine_state()? else {
        return Ok(Engine::new(plant)?);
    };
    let reason = match resume(plant.clone(), &saved) {
        Ok(engine) => return Ok(engine),
        Err(EngineError::Chain(error)) => return Err(EngineError::Chain(error).into()),
        Err(reason) => reason,
    };
    warn!(%reason, "the engine starts afresh; what stood is looked for anew");
    waiting.close_standing(store)?;
    let mut engine = Engine::new(plant.clone())?;
    let (mut learned, mut mornings) = (store.learned()?, store.mornings()?);
    if let EngineError::OtherPlant(before) = &reason {
        learned.retain(|l| still_holds(l.of, before, &plant));
        mornings.retain(|(i, _)| morning_still_holds(*i, before, &plant));
    }
    if !matches!(reason, EngineError::Unreadable) {
        engine.recall(learned);
        engine.recall_mornings(mornings);
    }
    Ok(engine)
}

/// An engine that goes on where the state was saved. A state that cannot be read, of another
/// version or of another plant description cannot be gone on with.
fn resume(plant: Arc<Plant>, saved: &SavedState) -> Result<Engine, EngineError> {
    if saved.version != STATE_VERSION {
        return Err(EngineError::StateVersion {
            found: saved.version,
            wanted: STATE_VERSION,
        });
    }
    match postcard::from_bytes::<EngineState>(&saved.bytes) {
        Ok(state) => Engine::resume(plant, state),
        Err(error) => {
            warn!(%error, "the saved engine state cannot be read");
            Err(EngineError::Unreadable)
        }
    }
}
