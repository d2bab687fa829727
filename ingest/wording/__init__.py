"""A code and its values in, the sentence that people read out: every stored remark, in one house style."""
