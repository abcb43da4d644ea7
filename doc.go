// Package linewright is empty; its tests hold the house's rules. The program is
// in cmd/linewright.
package linewright
