//! What follows from the answers about consent and from the judgements, and is kept beside them for quick questions.
//!
//! Everything here but [`twice_practised`] is a function of other rows, so that two merged logbooks show the same whatever way they were merged.

use rusqlite::Transaction;
use uuid::Uuid;

use super::rows::Id;

/// A recording may be kept: consent was given after the last refusal, and, if there was a refusal, before the attempt.
/// What was recorded before a refusal stays gone, even if consent is given again.
const MAY_BE_KEPT: &str = "EXISTS (
    SELECT 1 FROM counted_answer AS g
    WHERE g.student_id = attempt.student_id AND g.given = 1
        AND NOT EXISTS (
            SELECT 1 FROM counted_answer AS r
            WHERE r.student_id = g.student_id AND r.given = 0 AND (r.at >= g.at OR g.at > attempt.created_at)))";

/// Brings the consent that counts and the recordings' names into line with the answers, of one student or of all.
pub(super) fn consent(transaction: &Transaction<'_>, student: Option<Uuid>) -> rusqlite::Result<()> {
    let id = student.map(Id);
    // The order is that of the triggers: no name may stand where there is no consent at that moment.
    transaction
        .prepare_cached(&format!(
            "UPDATE attempt SET recording = NULL
             WHERE recording IS NOT NULL AND (?1 IS NULL OR student_id = ?1)
                AND (recording_removed_at IS NOT NULL OR NOT {MAY_BE_KEPT})"
        ))?
        .execute([id])?;
    transaction
        .prepare_cached(
            "UPDATE student SET (consent, consent_asked_at, consent_by) = (
                SELECT iif(given, 'given', 'refused'), at, nullif(by, '') FROM counted_answer
                WHERE student_id = student.id ORDER BY at DESC, given, by LIMIT 1)
             WHERE ?1 IS NULL OR id = ?1",
        )?
        .execute([id])?;
    transaction
        .prepare_cached(&format!(
            "UPDATE attempt SET recording = student_id || '_' || id || '.wav'
             WHERE recorded = 1 AND recording IS NULL AND recording_removed_at IS NULL
                AND (?1 IS NULL OR student_id = ?1) AND {MAY_BE_KEPT}"
        ))?
        .execute([id])?;
    Ok(())
}

/// Brings the overruled verdicts and outcomes into line with the judgements, of one attempt or of all.
pub(super) fn overrules(transaction: &Transaction<'_>, attempt: Option<Uuid>) -> rusqlite::Result<()> {
    let id = attempt.map(Id);
    let judged = "SELECT number FROM attempt WHERE id IN (SELECT attempt_id FROM overrule) AND (?1 IS NULL OR id = ?1)";
    transaction
        .prepare_cached(&format!(
            "UPDATE element_verdict SET (overruled_verdict, overruled_by, overruled_at, overruled_reason) = (
                SELECT o.verdict, iif(o.verdict IS NULL, NULL, o.by), iif(o.verdict IS NULL, NULL, o.at),
                    iif(o.verdict IS NULL, NULL, o.reason)
                FROM overrule AS o
                WHERE o.attempt_id = (SELECT id FROM attempt WHERE number = element_verdict.attempt)
                    AND o.element = element_verdict.element
                ORDER BY o.at DESC, o.id DESC LIMIT 1)
             WHERE attempt IN ({judged})"
        ))?
        .execute([id])?;
    // The rule of outcomes, with the verdicts that count: critical elements all said; else any wrong or missing; else unsure.
    transaction
        .prepare_cached(&format!(
            "UPDATE attempt SET overruled_outcome = (
                SELECT CASE WHEN NOT coalesce(max(overruled_verdict IS NOT NULL), 0) THEN NULL
                    WHEN max(coalesce(critical, 1) AND coalesce(overruled_verdict, verdict) IN ('wrong', 'missing'))
                        THEN 'not yet'
                    WHEN max(coalesce(critical, 1) AND coalesce(overruled_verdict, verdict) = 'unsure') THEN 'say again'
                    ELSE 'pass' END
                FROM element_verdict WHERE element_verdict.attempt = attempt.number)
             WHERE number IN ({judged})"
        ))?
        .execute([id])?;
    Ok(())
}

/// Practice handed out is dealt once, and its turns have the same ids on every computer. Where one was practised on two of
/// them, what was said first stands in the record: the later attempts are held out of it, unless an instructor judged them
/// (taking a dispute back is no judgement); they stay so where the earlier ones are removed. A call that the microphone made void is kept held
/// out from the beginning and begins no practising.
/// Returns how many were held out now.
pub(super) fn twice_practised(transaction: &Transaction<'_>) -> rusqlite::Result<usize> {
    // An attempt belongs to a later practising where two first attempts of its turn are not later than it.
    transaction.execute(
        "UPDATE attempt SET held_out = 1, held_out_at = held_out_at + 1
         WHERE held_out = 0 AND run_id IS NULL AND id NOT IN (SELECT attempt_id FROM overrule)
            AND turn_id IN (SELECT turn_id FROM attempt WHERE turn_attempt = 1
                AND NOT (held_out = 1 AND held_out_at = created_at) GROUP BY turn_id HAVING count(*) > 1)
            AND (SELECT count(*) FROM attempt AS first WHERE first.turn_id = attempt.turn_id AND first.turn_attempt = 1
                AND NOT (first.held_out = 1 AND first.held_out_at = first.created_at)
                AND (first.started_at, first.id) <= (attempt.started_at, attempt.id)) > 1",
        [],
    )
}
