package rules

// JudgeAll lets every Step judge everything: what a Step that judges less is compared with.
func (m *Memory) JudgeAll() { m.all = true }
