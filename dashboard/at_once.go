package dashboard

import "sync"

// atOnce runs n parts of an answer at once and returns the first failure, a panic too.
func atOnce(n int, part func(i int) error) error {
	errs := make([]error, n)
	var group sync.WaitGroup
	for i := range n {
		group.Go(func() {
			_, errs[i] = guarded(func() (none struct{}, err error) { return none, part(i) })()
		})
	}
	group.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
