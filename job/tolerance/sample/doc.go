// Package sample is the statistical engine of tolerancing: it draws built
// copies of a design, runs a model on each, and says how many meet their limits,
// how sure that is, what drives the spread, and how bad the worst corner is.
//
// It knows nothing of cables and connectors. A [Study] names the inputs with
// their [Distribution], the outputs, and the model between them; a [Plan] says
// how many copies are drawn and how; [Run] draws them on any number of workers
// and returns a [State], from which yield, coverage intervals and drivers follow.
//
// A sample is a pure function of plan and index. So the same plan gives the
// same bits for any number of workers, a stopped run goes on where it stood,
// and any single copy can be drawn again to look at it.
//
// The vocabulary of uncertainty is that of the GUM [jcgm100] and its
// Supplement 1 [jcgm101].
package sample
