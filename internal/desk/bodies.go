package desk

import (
	"cmp"
	"maps"
	"slices"

	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

func fold[T any](k store.Kept, use func(T)) error {
	body, err := record.Body[T](k.Record)
	if err == nil {
		use(body)
	}
	return err
}

func sortedByKey[K cmp.Ordered, V any](m map[K]V) []V {
	values := make([]V, 0, len(m))
	for _, k := range slices.Sorted(maps.Keys(m)) {
		values = append(values, m[k])
	}
	return values
}

func readingOf(k store.Kept) (reading.Reading, error) {
	return record.Body[reading.Reading](k.Record)
}
