package desk

// Asked says how many questions are open.
func (k *Passkeys) Asked() int {
	k.mu.Lock()
	defer k.mu.Unlock()
	return len(k.asked)
}
