// Package layers holds no code: its tests keep the packages of this module in their layers and the
// versions of linked libraries together. To add a package, give it a layer in layers_test.go.
package layers
