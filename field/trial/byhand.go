package trial

import "polewise/field/verdict"

func (s *session) plainHand() map[int]verdict.State    { return nil }
func (s *session) plainHeading() map[int]verdict.State { return nil }
