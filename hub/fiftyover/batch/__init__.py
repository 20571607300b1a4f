"""What a batch is and what happens to it: plan, stages, events, which cores count, who is called. Pure."""
