//! Geometry of lines in pixels: thinning, dashes, and cutting at the edges of a panel.
//! Never in here: values with units.

use super::canvas::Point;

/// A line leaves the given points by at most this much [pixel]: less than any screen shows.
pub const TOLERANCE_PX: f64 = 0.15;

/// Thins a line: in each column of pixels only its least and greatest point, in their order, and
/// then without the points that lie on the line between their neighbours.
pub fn thinned(points: &[Point]) -> Vec<Point> {
    let column = |p: &Point| p.0.floor() as i64;
    let mut kept = Vec::with_capacity(points.len());
    for in_column in points.chunk_by(|a, b| column(a) == column(b)) {
        if in_column.len() <= 2 {
            kept.extend_from_slice(in_column);
        } else {
            kept.extend(extremes(in_column));
        }
    }
    // The ends say where a run begins and ends.
    if let (Some(&first), Some(&last)) = (points.first(), points.last()) {
        if kept.first() != Some(&first) {
            kept.insert(0, first);
        }
        if kept.last() != Some(&last) {
            kept.push(last);
        }
    }
    straightened(&kept)
}

fn extremes(points: &[Point]) -> Vec<Point> {
    let by_y = |a: &(usize, &Point), b: &(usize, &Point)| a.1.1.total_cmp(&b.1.1);
    let least = points.iter().enumerate().min_by(by_y);
    let greatest = points.iter().enumerate().max_by(by_y);
    let mut both: Vec<_> = least.into_iter().chain(greatest).collect();
    both.sort_by_key(|(i, _)| *i);
    both.into_iter().map(|(_, p)| *p).collect()
}

/// Drops points that lie within [`TOLERANCE_PX`] of the line through those that are kept
/// (Douglas and Peucker's division at the farthest point).
pub fn straightened(points: &[Point]) -> Vec<Point> {
    if points.len() < 3 {
        return points.to_vec();
    }
    let mut keep = vec![false; points.len()];
    keep[0] = true;
    keep[points.len() - 1] = true;
    let mut open = vec![(0, points.len() - 1)];
    while let Some((from, to)) = open.pop() {
        let farthest = (from + 1..to)
            .map(|i| (i, distance(points[i], points[from], points[to])))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((i, gap)) = farthest
            && gap > TOLERANCE_PX
        {
            keep[i] = true;
            open.push((from, i));
            open.push((i, to));
        }
    }
    let kept = points.iter().zip(keep).filter(|(_, keep)| *keep);
    kept.map(|(p, _)| *p).collect()
}

/// From a point to the piece of line between two others.
fn distance(p: Point, a: Point, b: Point) -> f64 {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let length_sq = dx * dx + dy * dy;
    let t = if length_sq > 0.0 {
        (((p.0 - a.0) * dx + (p.1 - a.1) * dy) / length_sq).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (p.0 - a.0 - t * dx).hypot(p.1 - a.1 - t * dy)
}

/// The length of a line.
pub fn length(points: &[Point]) -> f64 {
    let pieces = points.windows(2);
    pieces
        .map(|p| (p[1].0 - p[0].0).hypot(p[1].1 - p[0].1))
        .sum()
}

/// The dashes of a line: `dash` pixels drawn, `gap` pixels not, from its beginning.
pub fn dashes(points: &[Point], (dash, gap): (f64, f64)) -> Vec<Vec<Point>> {
    let mut dashes = Vec::new();
    let mut current: Vec<Point> = points.first().copied().into_iter().collect();
    let (mut drawing, mut left) = (true, dash);
    for pair in points.windows(2) {
        let (mut a, b) = (pair[0], pair[1]);
        loop {
            let length = (b.0 - a.0).hypot(b.1 - a.1);
            if length <= left {
                left -= length;
                break;
            }
            let t = left / length;
            a = (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
            if drawing {
                current.push(a);
                dashes.push(std::mem::take(&mut current));
            } else {
                current = vec![a];
            }
            drawing = !drawing;
            left = if drawing { dash } else { gap };
        }
        if drawing {
            current.push(b);
        }
    }
    if current.len() > 1 {
        dashes.push(current);
    }
    dashes
}

/// The parts of a line between two heights.
pub fn line_between(points: &[Point], top: f64, bottom: f64) -> Vec<Vec<Point>> {
    let mut parts: Vec<Vec<Point>> = Vec::new();
    let mut inside: Option<Point> = None;
    for pair in points.windows(2) {
        let Some((a, b)) = piece_between(pair[0], pair[1], top, bottom) else {
            inside = None;
            continue;
        };
        match parts.last_mut() {
            Some(part) if inside == Some(a) => part.push(b),
            _ => parts.push(vec![a, b]),
        }
        inside = Some(b);
    }
    parts
}

fn piece_between(a: Point, b: Point, top: f64, bottom: f64) -> Option<(Point, Point)> {
    let within = |p: Point| (top..=bottom).contains(&p.1);
    if within(a) && within(b) {
        return Some((a, b));
    }
    let (low, high) = (a.1.min(b.1), a.1.max(b.1));
    if high < top || low > bottom {
        return None;
    }
    // One end at least is outside, and the piece crosses an edge, so it is not level.
    let at = |y: f64| (a.0 + (y - a.1) / (b.1 - a.1) * (b.0 - a.0), y);
    let end = |p: Point| {
        if within(p) {
            p
        } else {
            at(p.1.clamp(top, bottom))
        }
    };
    Some((end(a), end(b)))
}

/// The part of a polygon between two heights (Sutherland and Hodgman's cut, once for each edge).
pub fn area_between(corners: &[Point], top: f64, bottom: f64) -> Vec<Point> {
    let below_top = cut(corners, top, |y| y >= top);
    cut(&below_top, bottom, |y| y <= bottom)
}

fn cut(corners: &[Point], edge: f64, inside: impl Fn(f64) -> bool) -> Vec<Point> {
    let mut kept = Vec::with_capacity(corners.len());
    for (i, &b) in corners.iter().enumerate() {
        let a = corners[(i + corners.len() - 1) % corners.len()];
        if inside(a.1) != inside(b.1) {
            kept.push((a.0 + (edge - a.1) / (b.1 - a.1) * (b.0 - a.0), edge));
        }
        if inside(b.1) {
            kept.push(b);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_single_spike_survives_thinning() {
        let mut points: Vec<Point> = (0..1000).map(|i| (f64::from(i) / 100.0, 50.0)).collect();
        points[503].1 = 3.0;
        let thin = thinned(&points);
        assert!(thin.contains(&points[503]), "{thin:?}");
        assert!(thin.len() < 10, "{thin:?}");
        assert_eq!((thin.first(), thin.last()), (points.first(), points.last()));
    }

    #[test]
    fn dashes_leave_gaps_of_the_length_asked_for() {
        let dashed = dashes(&[(0.0, 0.0), (25.0, 0.0)], (6.0, 4.0));
        let ends: Vec<_> = dashed.iter().map(|d| (d[0].0, d[d.len() - 1].0)).collect();
        assert_eq!(ends, [(0.0, 6.0), (10.0, 16.0), (20.0, 25.0)]);
    }

    #[test]
    fn a_line_through_the_panel_is_cut_at_both_edges() {
        let parts = line_between(&[(0.0, -10.0), (10.0, 90.0), (20.0, 20.0)], 0.0, 40.0);
        assert_eq!(parts[0], [(1.0, 0.0), (5.0, 40.0)]);
        assert_eq!(parts[1].last(), Some(&(20.0, 20.0)));
        assert_eq!(parts.len(), 2);
    }

    proptest! {
        #[test]
        fn nothing_leaves_the_panel(points in prop::collection::vec((0.0..9.0, -99.0..99.0), 0..40)) {
            const ROUNDING_PX: f64 = 1e-9; // of one interpolation
            let cut = area_between(&points, -20.0, 30.0);
            let parts = line_between(&points, -20.0, 30.0);
            for (_, y) in cut.into_iter().chain(parts.into_iter().flatten()) {
                prop_assert!((-20.0 - ROUNDING_PX..=30.0 + ROUNDING_PX).contains(&y));
            }
        }

        #[test]
        fn a_straightened_line_stays_within_the_tolerance(
            heights in prop::collection::vec(0.0..80.0f64, 2..60),
        ) {
            let points: Vec<Point> = heights.iter().zip(0..).map(|(&y, x)| (f64::from(x), y)).collect();
            let kept = straightened(&points);
            for &p in &points {
                let gap = kept.windows(2).map(|k| distance(p, k[0], k[1])).fold(f64::MAX, f64::min);
                prop_assert!(gap <= TOLERANCE_PX);
            }
        }
    }
}
